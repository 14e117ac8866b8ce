//! Groups edges into pulses and digits, measures and judges them.
