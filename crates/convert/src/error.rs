//! What can go wrong in a conversion, with the place in the file that it concerns.

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

/// Every structural problem that a reader found, and what it had put together by then.
#[derive(Clone, Debug)]
pub struct Problems {
    placed: Vec<PlacedProblem>,
    rest: Option<Box<Unsound>>,
}

/// A document as a value that breaks the structure of the format.
#[derive(Clone, Debug)]
pub struct Unsound {
    /// The value, in which the problems point.
    pub value: Value,
    /// Where its values came from.
    pub places: SourceMap,
}

impl Problems {
    /// Some problems; what they were found in is added where there is anything of it.
    #[must_use]
    pub fn new(placed: Vec<PlacedProblem>, rest: Option<Unsound>) -> Self {
        Self { placed, rest: rest.map(Box::new) }
    }

    /// What they were found in, for a checker that looks at the readable part; `None` where nothing
    /// can be said of it.
    #[must_use]
    pub fn rest(&self) -> Option<&Unsound> {
        self.rest.as_deref()
    }

    /// The problems, and what they were found in.
    #[must_use]
    pub fn into_parts(self) -> (Vec<PlacedProblem>, Option<Unsound>) {
        (self.placed, self.rest.map(|rest| *rest))
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

/// Why a conversion could not be done.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ConvertError {
    /// The source is not in the format that it was taken for, or breaks that format's own rules.
    #[error("{}{message}", place.as_ref().map(|place| format!("{place}: ")).unwrap_or_default())]
    Form {
        /// Where.
        place: Option<Location>,
        /// What is wrong and what to do.
        message: String,
    },
    /// The survey is not valid. Reading stopped at the first thing that is wrong;
    /// [`Source::diagnose`](crate::Source::diagnose) finds the others.
    #[error("not a valid obvert document: {}{message}", place.as_ref().map(|place| format!("{place}: ")).unwrap_or_default())]
    Invalid {
        /// Where.
        place: Option<Location>,
        /// What is wrong.
        message: String,
    },
    /// The survey is not valid, with everything that is wrong.
    #[error("not a valid obvert document: {} problem{}; the first: {}", .0.len(), if .0.len() == 1 { "" } else { "s" }, .0[0])]
    Structure(Problems),
    /// A document of an older version of the format cannot be brought to this one.
    #[error(transparent)]
    Migrate(#[from] obvert_model::versions::MigrateError),
    /// The document cannot be put into the format that was asked for.
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
    /// The error of a survey that is not valid.
    pub(crate) fn invalid(place: Option<Location>, message: impl Into<String>) -> Self {
        Self::Invalid { place, message: message.into() }
    }

    /// The error of a survey in which an id repeats, by the run with which that was noticed.
    pub(crate) fn repeated_id(run: Option<Location>) -> Self {
        Self::invalid(run, "an id stands twice in its table")
    }

    /// The error of a survey whose problems are known, by the first of them.
    pub(crate) fn first_of(problems: &[PlacedProblem]) -> Self {
        match problems.first() {
            Some(PlacedProblem { place, problem }) => {
                Self::invalid(place.clone(), problem.message.clone())
            }
            None => Self::invalid(None, "no more is known"),
        }
    }
}
