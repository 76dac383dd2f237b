//! What a rule sees: each record together with what it refers to, so that a rule is a comparison and not a search.
//!
//! The indexes behind the views are built once for a document. A pointer or a text is made only when a rule fires.

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

/// The place that a finding is about.
#[derive(Clone, Debug, Default)]
pub struct Spot {
    /// JSON Pointer into the document.
    pub path: String,
    /// The pipe concerned.
    pub pipe: Option<String>,
    /// The run concerned.
    pub run: Option<String>,
    /// The observation concerned.
    pub observation: Option<String>,
    /// The distance concerned, in the document's length unit.
    pub distance: Option<f64>,
}

impl Spot {
    /// A place that concerns no pipe and no run.
    #[must_use]
    pub fn at(path: impl Into<String>) -> Self {
        Self { path: path.into(), ..Self::default() }
    }
}

/// How far a counted distance may be off before it is an error, in metres: the greater of half a per cent and one foot.
/// Source: City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer Systems.
#[must_use]
pub(crate) fn tolerance(metres: f64) -> f64 {
    (metres.abs() * 0.005).max(0.3048)
}
