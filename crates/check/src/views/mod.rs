//! What a rule is given: a record with everything that it refers to, so that the rule compares and
//! does not search.
//!
//! The indexes are built once per document. Pointers and texts are made only when a rule reports.

mod ending;
mod facts;
mod id_index;
mod records;
mod run;
mod survey;

pub(crate) use ending::NO_RUN;
pub use ending::{Ending, LocateView, Part, RatingView, RunSummary};
pub(crate) use facts::Facts;
pub use records::{MediaView, PipeView, StructureView};
pub use run::{Marks, RowView, RunView};
pub use survey::Survey;

pub(crate) use crate::subject::Subject;

/// The tolerance of a counted distance in metres: the greater of half a per cent and one foot.
/// Source: City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer Systems.
#[must_use]
pub(crate) fn tolerance(metres: f64) -> f64 {
    (metres.abs() * 0.005).max(0.3048)
}
