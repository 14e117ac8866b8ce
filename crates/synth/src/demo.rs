//! The demo recordings.
