//! Reading a document, strictly.
//!
//! There are two roads. The fast one goes from bytes to the typed model in one pass and gives up at the first
//! thing that is wrong. Only then does the slow one open (`diagnose`): it looks at the whole document again and
//! reports every structural problem at once, each with its place and the nearest valid spelling. A property test
//! holds the two to the same verdict.
//!
//! The fast road is a stream: the head first, then one run after the other, each of which can be dropped before
//! the next is read. [`stream`] gives that to the caller; [`document`] collects it.

mod diagnose;
mod document;
mod error;
#[cfg(feature = "diagnose")]
mod huge;
mod ids;
mod json;
#[cfg(feature = "diagnose")]
mod mend;
mod reader;
#[cfg(feature = "diagnose")]
mod remains;
mod serde_parts;
mod slip;
mod span;
mod stopped;
mod streaming;
pub(crate) mod text;

#[cfg(feature = "diagnose")]
pub(crate) use diagnose::hold;
pub(crate) use diagnose::{Subject, explain_as, nearest};
#[cfg(feature = "diagnose")]
pub use diagnose::{document_value, value_problems};
pub use error::{Problem, ProblemKind, ReadError};
pub use ids::{IdWatch, twice};
pub use json::{Reader, RunSlice, RunSlices};
pub use reader::{DocumentReader, RunReader};
#[cfg(feature = "diagnose")]
pub use remains::{LeftOut, Remains, remains, remains_of};
pub(crate) use serde_parts::{ObjectOnly, present, word};
pub use span::{Span, Spans, locate, locate_all};
pub use streaming::{Runs, stream};

use crate::tables::Document;

/// Reads a whole document.
///
/// # Errors
/// When the source is not JSON ([`ReadError::Syntax`]), or JSON but not a document of this format
/// ([`ReadError::Structure`], with every problem found).
///
/// ```
/// let error = obvert_model::read::document(br#"{ "obvert": "0.2", "idd": "x" }"#).unwrap_err();
/// let obvert_model::read::ReadError::Structure(problems) = error else { panic!() };
/// assert!(problems.iter().any(|p| p.pointer == "/idd"));
/// ```
pub fn document(source: &[u8]) -> Result<Document, ReadError> {
    stream(source, |head, runs| {
        let mut all = Vec::new();
        while let Some(run) = runs.next_run() {
            all.push(run);
        }
        Document { head: head.clone(), runs: all }
    })
}
