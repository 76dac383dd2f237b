//! Runs the conformance suite of `tests/corpus` against this implementation: every part through the
//! public interface of the library, and again through the command, which shares only the library
//! with its callers.
//!
//! The derived parts of the suite (the examples of the rules, the facts of findings, the other
//! rules that a document breaks) are rewritten by `OBVERT_BLESS=1 cargo test --test suite`. That
//! never changes a rule or a pointer that a case expects, and fails if one of them is not met.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

#[path = "suite/canonical.rs"]
mod canonical;
#[path = "suite/facts.rs"]
mod facts;
#[path = "suite/formats.rs"]
mod formats;
#[path = "suite/found.rs"]
mod found;
#[path = "suite/grades.rs"]
mod grades;
#[path = "suite/layout.rs"]
mod layout;
#[path = "suite/manifest.rs"]
mod manifest;
#[path = "suite/rules.rs"]
mod rules;
#[path = "suite/structure.rs"]
mod structure;
#[path = "suite/vectors.rs"]
mod vectors;
