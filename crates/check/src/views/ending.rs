//! What is known once all runs have been read and dropped.

use obvert_model::tables::{Aspect, Locate, OutcomeKind, Rating, Run};
use obvert_model::text::{RunId, StructureId, Timestamp};
use rustc_hash::FxHashMap;

use super::{Marks, RunView, Spot, Survey};
use crate::grading::Tally;

/// What is kept of a run once it has been read.
#[derive(Clone, Debug)]
pub struct RunSummary {
    /// Its row.
    pub index: usize,
    /// The run without its observations.
    pub run: Run,
    /// How many observations it had.
    pub observations: usize,
    /// How many of them had a grade recorded.
    pub graded: usize,
    /// The distance from its zero point to its last reading, in metres.
    pub travelled: Option<f64>,
    /// Where its rows said that it starts and ends.
    pub marks: Marks,
    /// Its structural grades, rolled up.
    pub structural: Tally,
    /// Its operational grades, rolled up.
    pub operational: Tally,
}

impl RunSummary {
    /// A place in it; `field` is empty or a pointer such as `/reverse_of`.
    #[must_use]
    pub fn spot(&self, field: &str) -> Spot {
        Spot {
            path: format!("/runs/{}{field}", self.index),
            pipe: Some(self.run.pipe.to_string()),
            run: Some(self.run.id.to_string()),
            ..Spot::default()
        }
    }

    /// Its grades in an aspect, rolled up.
    #[must_use]
    pub fn tally(&self, aspect: Aspect) -> &Tally {
        match aspect {
            Aspect::Structural => &self.structural,
            Aspect::Operational => &self.operational,
        }
    }

    /// How it ended.
    #[must_use]
    pub fn outcome(&self) -> Option<OutcomeKind> {
        self.run.outcome.as_ref().map(|outcome| outcome.kind)
    }

    /// When it began.
    #[must_use]
    pub fn started(&self) -> Option<&Timestamp> {
        self.run.started.as_ref()
    }

    /// Where it began and where it went, as stated or as its direction says.
    #[must_use]
    pub fn ends(&self) -> (Option<&StructureId>, Option<&StructureId>) {
        (self.run.from.as_ref(), self.run.to.as_ref())
    }
}

/// The whole survey, after all runs have been read.
#[derive(Debug)]
pub struct Ending<'d> {
    /// The survey.
    pub survey: &'d Survey<'d>,
    /// Its runs, in the order of the document.
    pub runs: &'d [RunSummary],
    /// For every media file, whether an observation names it.
    pub media_used: &'d [bool],
    pub(crate) by_id: FxHashMap<&'d str, usize>,
    pub(crate) by_pipe: FxHashMap<&'d str, Vec<usize>>,
}

impl<'d> Ending<'d> {
    /// The run of an id.
    #[must_use]
    pub fn run(&self, id: &RunId) -> Option<&'d RunSummary> {
        self.by_id.get(id.as_str()).map(|index| &self.runs[*index])
    }

    /// The runs through a pipe.
    pub fn runs_of(&self, pipe: &str) -> impl Iterator<Item = &'d RunSummary> + use<'d, '_> {
        self.by_pipe.get(pipe).into_iter().flatten().map(|index| &self.runs[*index])
    }

    /// The views of all locates.
    pub fn locates(&self) -> impl Iterator<Item = LocateView<'_>> {
        self.survey.head.locates.iter().enumerate().map(move |(index, locate)| LocateView {
            ending: self,
            locate,
            index,
        })
    }
}

/// A part of a document: the head comes first, then every run with its observations.
#[derive(Clone, Copy, Debug)]
pub enum Part<'r> {
    /// The head and its tables.
    Head(&'r Survey<'r>),
    /// A run.
    Run(&'r RunView<'r>),
}

/// A locate, after all runs have been read.
#[derive(Clone, Copy, Debug)]
pub struct LocateView<'d> {
    /// The whole survey.
    pub ending: &'d Ending<'d>,
    /// The locate.
    pub locate: &'d Locate,
    /// Its row.
    pub index: usize,
}

impl LocateView<'_> {
    /// A place in it; `field` is empty or a pointer such as `/depth`.
    #[must_use]
    pub fn spot(&self, field: &str) -> Spot {
        Spot {
            path: format!("/locates/{}{field}", self.index),
            pipe: self.ending.run(&self.locate.run).map(|summary| summary.run.pipe.to_string()),
            run: Some(self.locate.run.to_string()),
            distance: Some(self.locate.at.get()),
            ..Spot::default()
        }
    }
}

/// A rating, after all runs have been read.
#[derive(Clone, Copy, Debug)]
pub struct RatingView<'d> {
    /// The whole survey.
    pub ending: &'d Ending<'d>,
    /// The rating.
    pub rating: &'d Rating,
    /// Its row.
    pub index: usize,
}

impl RatingView<'_> {
    /// A place in it; `field` is empty or a pointer such as `/peak`.
    #[must_use]
    pub fn spot(&self, field: &str) -> Spot {
        Self::place(self.index, self.rating, field)
    }

    /// A place in a rating of which no view is at hand, as before the runs have been read.
    pub(crate) fn place(index: usize, rating: &Rating, field: &str) -> Spot {
        Spot { path: format!("/ratings/{index}{field}"), pipe: Some(rating.pipe.to_string()), ..Spot::default() }
    }
}
