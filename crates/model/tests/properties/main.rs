//! Properties that hold for every document: what is written is read back, the two roads of the
//! reader agree, and the text forms are those of the patterns in the schema. Documents are
//! generated from the schema, so that a new field is covered from its first day.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod cases;
mod constructed;
mod forms;
mod generate;
mod roads;
mod roundtrip;
mod spoil;
mod targets;
mod tree;
mod versions;
