//! Placeholder until the crate is written.
