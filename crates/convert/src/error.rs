//! The errors of a conversion, with their location in the file.

use std::ops::Deref;

use obvert_model::Location;
use obvert_model::read::Problem;
use serde_json::Value;

use crate::source_map::SourceMap;

/// A structural problem of the document that a file describes, and where in that file.
#[derive(Clone, Debug)]
pub struct PlacedProblem {
    /// Where in the file.
    pub place: Option<Location>,
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

/// Every structural problem that a reader found, and the document as far as it was read.
#[derive(Clone, Debug)]
pub struct Problems {
    placed: Vec<PlacedProblem>,
    document: Option<Box<InvalidDocument>>,
}

/// A document that violates the structure of the format, as a value.
#[non_exhaustive]
#[derive(Clone, Debug)]
pub struct InvalidDocument {
    /// The value that the pointers of the problems refer to.
    pub value: Value,
    /// Where its values came from.
    pub places: SourceMap,
}

impl Problems {
    /// Some problems, and the document that they were found in, if any of it was read.
    #[must_use]
    pub fn new(placed: Vec<PlacedProblem>, document: Option<InvalidDocument>) -> Self {
        Self { placed, document: document.map(Box::new) }
    }

    /// The document that the problems were found in, for a checker that checks the readable part;
    /// `None` if no document was read.
    #[must_use]
    pub fn document(&self) -> Option<&InvalidDocument> {
        self.document.as_deref()
    }

    /// The problems, and the document that they were found in.
    #[must_use]
    pub fn into_parts(self) -> (Vec<PlacedProblem>, Option<InvalidDocument>) {
        (self.placed, self.document.map(|document| *document))
    }
}

impl Deref for Problems {
    type Target = [PlacedProblem];
    fn deref(&self) -> &[PlacedProblem] {
        &self.placed
    }
}

impl<'p> IntoIterator for &'p Problems {
    type Item = &'p PlacedProblem;
    type IntoIter = std::slice::Iter<'p, PlacedProblem>;
    fn into_iter(self) -> Self::IntoIter {
        self.placed.iter()
    }
}

impl IntoIterator for Problems {
    type Item = PlacedProblem;
    type IntoIter = std::vec::IntoIter<PlacedProblem>;
    fn into_iter(self) -> Self::IntoIter {
        self.placed.into_iter()
    }
}

/// Why a conversion failed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ConvertError {
    /// The source is not in the expected format, or breaks the rules of that format.
    #[error("{}{message}", place.as_ref().map(|place| format!("{place}: ")).unwrap_or_default())]
    Format {
        /// Where.
        place: Option<Location>,
        /// What is wrong and what to do.
        message: String,
    },
    /// The survey is not valid. Reading stopped at the first problem;
    /// [`Source::diagnose`](crate::Source::diagnose) finds the others.
    #[error("not a valid obvert document: {}{message}", place.as_ref().map(|place| format!("{place}: ")).unwrap_or_default())]
    Invalid {
        /// Where.
        place: Option<Location>,
        /// What is wrong.
        message: String,
    },
    /// The survey is not valid, with every problem.
    #[error("not a valid obvert document: {} problem{}; the first: {}", .0.len(), if .0.len() == 1 { "" } else { "s" }, .0[0])]
    Structure(Problems),
    /// A document of an older version of the format cannot be migrated to this one.
    #[cfg(feature = "diagnose")]
    #[cfg_attr(docsrs, doc(cfg(feature = "diagnose")))]
    #[error(transparent)]
    Migrate(#[from] obvert_model::versions::MigrateError),
    /// The document cannot be written in the requested format.
    #[error("{message}")]
    Refused {
        /// Why, and what to do.
        message: String,
    },
    /// Writing failed.
    #[error("cannot write")]
    Write(#[from] std::io::Error),
}

impl From<obvert_model::write::WriteError> for ConvertError {
    fn from(error: obvert_model::write::WriteError) -> Self {
        match error {
            obvert_model::write::WriteError::Io(error) => Self::Write(error),
            other => Self::Refused { message: other.to_string() },
        }
    }
}

impl ConvertError {
    /// Where in the source it is, if that is known.
    #[must_use]
    pub fn place(&self) -> Option<&Location> {
        match self {
            Self::Format { place, .. } | Self::Invalid { place, .. } => place.as_ref(),
            _ => None,
        }
    }

    /// The error of a survey that is not valid.
    pub(crate) fn invalid(place: Option<Location>, message: impl Into<String>) -> Self {
        Self::Invalid { place, message: message.into() }
    }

    /// The error of a survey in which an id repeats, at the location of the run with which it was
    /// noticed.
    #[cfg(any(feature = "tables", feature = "geojson", feature = "xml"))]
    pub(crate) fn repeated_id(run: Option<Location>) -> Self {
        Self::invalid(run, "an id is used for two rows of a table")
    }

    /// The error of a survey whose problems are known: the first of them.
    #[cfg(any(feature = "tables", feature = "geojson", feature = "xml"))]
    pub(crate) fn first_of(problems: &[PlacedProblem]) -> Self {
        match problems.first() {
            Some(PlacedProblem { place, problem }) => {
                Self::invalid(place.clone(), problem.message.clone())
            }
            None => Self::invalid(None, "the cause is not known"),
        }
    }
}
