//! Properties of every document: written documents are read back, the fast path and the diagnostic
//! path agree, and the text matchers agree with the patterns in the schema. Documents are generated
//! from the schema, so a new field is covered automatically.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod agreement;
mod cases;
mod constructed;
mod forms;
mod generate;
mod roundtrip;
mod spoil;
mod targets;
mod tree;
mod versions;
