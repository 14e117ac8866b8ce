//! Yields the samples of a recording in blocks, with what is known of the file.
//!
//! This crate does not know what a dial is.
