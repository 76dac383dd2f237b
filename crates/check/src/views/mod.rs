//! The records that rules get, each with access to the rows that it refers to, so that a rule can
//! compare without a search.
//!
//! Indexes are built once per document. Pointers and texts are made only when a rule reports.

mod ending;
mod facts;
mod id_index;
mod records;
mod run;
mod survey;

pub use ending::{Ending, LocateView, Part, RatingView, RunSummary};
pub(crate) use ending::{RunFigures, ShownBy};
pub(crate) use facts::Facts;
pub use records::{MediaView, PipeView, StructureView};
pub(crate) use run::{Marks, changes};
pub use run::{RowView, RunView};
pub use survey::Survey;

pub(crate) use crate::subject::Subject;

/// The tolerance of a counted distance, in metres: half a per cent, but at least one foot.
/// Source: City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer Systems.
#[must_use]
pub(crate) fn tolerance(metres: f64) -> f64 {
    (metres.abs() * 0.005).max(0.3048)
}
