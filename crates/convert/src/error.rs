//! What can go wrong in a conversion, with the place in the file that it concerns.

use obvert_model::read::Problem;

use crate::source_map::Place;

/// A structural problem of the document that a file describes, and where in that file.
#[derive(Clone, Debug)]
pub struct PlacedProblem {
    /// Where in the file.
    pub place: Option<Place>,
    /// What is wrong.
    pub problem: Problem,
}

impl std::fmt::Display for PlacedProblem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if let Some(place) = &self.place {
            write!(f, "{place}: ")?;
        }
        write!(f, "{}", self.problem)
    }
}

/// Why a conversion could not be done.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ConvertError {
    /// The source is not in the form that it was taken for, or breaks that form's own rules.
    #[error("{}{message}", place.as_ref().map(|place| format!("{place}: ")).unwrap_or_default())]
    Form {
        /// Where.
        place: Option<Place>,
        /// What is wrong and what to do.
        message: String,
    },
    /// The source is in the right form but does not describe a valid document.
    #[error("not a valid obvert document: {} problem{}; the first: {}", .0.len(), if .0.len() == 1 { "" } else { "s" }, .0[0])]
    Structure(Vec<PlacedProblem>),
    /// The document cannot be put into the form that was asked for.
    #[error("{message}")]
    Refused {
        /// Why, and what to do.
        message: String,
    },
    /// Writing failed.
    #[error("cannot write: {0}")]
    Write(#[from] std::io::Error),
}
