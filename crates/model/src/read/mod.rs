//! Reads documents strictly: a document is valid as a whole, or it is refused.
//!
//! ```
//! use obvert_model::read::{self, Reader, RunReader};
//!
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-101","direction":"downstream"}]}"#;
//! let document = read::document(source)?;
//! assert_eq!(document.runs[0].pipe, "L-101");
//!
//! // The same, with one run in memory at a time.
//! let mut reader = Reader::new(source)?;
//! while let Some(run) = reader.next_run()? {
//!     assert_eq!(run.pipe, "L-101");
//! }
//! # Ok::<(), read::ReadError>(())
//! ```
//!
//! [`document`] reads a whole document. [`Reader`] gives the head and then one run after the other
//! on demand, so a survey of any size needs little memory; its [slices](Reader::into_slices) can be
//! read on several threads. Both are the fast path: from bytes to the typed model, stopping at the
//! first problem.
//!
//! [`diagnose`] is the diagnostic path, for a source that is invalid: it parses the source into a
//! value and reports every structural problem at once, each with its location and the nearest valid
//! spelling. Its [`Diagnosis`] also has the part of the document that can be read. [`document`]
//! takes this path when reading fails. A property test checks that both paths agree on what is
//! valid.
//!
//! Readers of other formats implement [`RunReader`] too, so code that processes runs works with any
//! format.

mod any;
mod diagnose;
mod document;
mod error;
#[cfg(feature = "diagnose")]
mod fix;
mod hint;
#[cfg(feature = "diagnose")]
mod huge;
mod ids;
mod json;
#[cfg(feature = "diagnose")]
mod nodes;
#[cfg(feature = "diagnose")]
mod partial;
mod reader;
#[cfg(feature = "diagnose")]
mod remains;
pub(crate) mod scan;
#[cfg(feature = "diagnose")]
mod schema;
mod serde_parts;
mod span;
mod stopped;
#[cfg(feature = "diagnose")]
mod verify;

pub use any::strict_value;
pub(crate) use any::{Tree, strict};
#[cfg(feature = "diagnose")]
pub(crate) use diagnose::validated;
#[cfg(feature = "diagnose")]
pub use diagnose::{Diagnosis, diagnose, value_problems};
pub(crate) use diagnose::{Subject, explain_as};
pub use error::{Problem, ProblemKind, ReadError};
pub use ids::{IdWatch, duplicate_ids};
pub use json::{Reader, RunSlice, RunSlices};
#[cfg(feature = "diagnose")]
pub use partial::{PartialReader, PartialRun, ReadableRuns, RowDamage};
pub use reader::{DocumentReader, RunReader};
#[cfg(feature = "diagnose")]
pub use remains::{LeftOut, Readable, Remains, RunStub};
pub(crate) use serde_parts::{ObjectOnly, present, word};
pub use span::{Span, Spans, locate, locate_all};

use crate::tables::Document;

/// Reads a whole document.
///
/// # Errors
/// If the source is not JSON ([`ReadError::Syntax`]), or not a document of this format
/// ([`ReadError::Structure`], with every problem).
///
/// ```
/// let error = obvert_model::read::document(br#"{ "obvert": "0.2", "idd": "x" }"#).unwrap_err();
/// let obvert_model::read::ReadError::Structure(problems) = error else { panic!() };
/// assert!(problems.iter().any(|p| p.pointer == "/idd"));
/// ```
pub fn document(source: &[u8]) -> Result<Document, ReadError> {
    Reader::new(source)
        .and_then(Reader::into_document)
        .map_err(|error| error.with_all_problems(source))
}
