//! Models of dial, loop, probe and recorder, with known truth. Knows nothing of the detector.
