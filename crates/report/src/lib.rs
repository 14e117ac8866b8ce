//! The only crate that knows text, JSON, CSV and SVG.
