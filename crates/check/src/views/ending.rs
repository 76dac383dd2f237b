//! What is known once all runs have been read and dropped.

use std::cell::OnceCell;

use obvert_model::tables::{Aspect, Locate, OutcomeKind, Rating, Run};
use obvert_model::text::{RunId, StructureId, Timestamp};

use super::id_index::IdIndex;
use super::{Marks, RunView, Spot, Survey};
use crate::grading::GradeTotals;
use crate::profile::Breaches;
use crate::support::distance_drift::{Drift, MIN_SHARE, camera_of, drifting_cameras, stated_length};
use crate::support::run_dates;
use crate::support::run_extent::unit_mixup;

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
    pub structural: GradeTotals,
    /// Its operational grades, rolled up.
    pub operational: GradeTotals,
    /// Both, with the mistakes mended that other rules report; `None` where there are none.
    pub(crate) corrected: Option<Box<[GradeTotals; 2]>>,
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
    pub fn tally(&self, aspect: Aspect) -> &GradeTotals {
        match aspect {
            Aspect::Structural => &self.structural,
            Aspect::Operational => &self.operational,
        }
    }

    /// Its grades in an aspect, rolled up with the mistakes mended that other rules report.
    pub(crate) fn corrected(&self, aspect: Aspect) -> &GradeTotals {
        self.corrected.as_ref().map_or_else(|| self.tally(aspect), |corrected| &corrected[aspect as usize])
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
    /// For every media file, the run of an observation that names it: its own run, where that is one of them.
    shown_by: &'d [u32],
    ids: IdIndex,
    /// The first run of every pipe, and for every run the next one of its pipe.
    firsts: IdIndex,
    next: Vec<u32>,
    misses_a_run: OnceCell<bool>,
    lengths_doubtful: OnceCell<bool>,
    date_outliers: OnceCell<Vec<usize>>,
    drifting_cameras: OnceCell<Vec<Drift>>,
}

/// No further run of a pipe.
const LAST: u32 = u32::MAX;

/// No run at all.
pub(crate) const NO_RUN: u32 = u32::MAX;

fn of_id(summary: &RunSummary) -> &str {
    &summary.run.id
}

fn of_pipe(summary: &RunSummary) -> &str {
    &summary.run.pipe
}

impl<'d> Ending<'d> {
    pub(crate) fn new(survey: &'d Survey<'d>, runs: &'d [RunSummary], shown_by: &'d [u32]) -> Self {
        let firsts = IdIndex::by(runs, of_pipe);
        let mut next = vec![LAST; runs.len()];
        // From the end, so that the runs of a pipe stand in the order of the document.
        let mut heads = vec![LAST; runs.len()];
        for (index, summary) in runs.iter().enumerate().rev() {
            let Some(first) = firsts.first_by(runs, &summary.run.pipe, of_pipe) else { continue };
            next[index] = heads[first];
            heads[first] = u32::try_from(index).unwrap_or(LAST);
        }
        Self {
            survey,
            runs,
            shown_by,
            ids: IdIndex::by(runs, of_id),
            firsts,
            next,
            misses_a_run: OnceCell::new(),
            lengths_doubtful: OnceCell::new(),
            date_outliers: OnceCell::new(),
            drifting_cameras: OnceCell::new(),
        }
    }

    /// A run with an observation that names a media file: the file's own run, where that is one of them.
    #[must_use]
    pub fn shown_by(&self, media: usize) -> Option<&'d RunSummary> {
        self.shown_by.get(media).filter(|run| **run != NO_RUN).map(|run| &self.runs[*run as usize])
    }

    /// The run of an id; `None` as well for an id that stands twice.
    #[must_use]
    pub fn run(&self, id: &RunId) -> Option<&'d RunSummary> {
        self.ids.only_by(self.runs, id, of_id).map(|index| &self.runs[index])
    }

    /// The run of an id that a finding has.
    pub(crate) fn run_named(&self, id: &str) -> Option<&'d RunSummary> {
        self.ids.first_by(self.runs, id, of_id).map(|index| &self.runs[index])
    }

    /// Whether there is a run of an id.
    #[must_use]
    pub fn knows_run(&self, id: &str) -> bool {
        self.ids.first_by(self.runs, id, of_id).is_some()
    }

    /// Whether distances seem to be in the unit that is not declared, by the positions or since the runs do not fit their
    /// pipes. `length-unit-suspect` says so once.
    #[must_use]
    pub fn lengths_doubtful(&self) -> bool {
        *self.lengths_doubtful.get_or_init(|| self.survey.lengths_doubtful() || unit_mixup(self).is_some())
    }

    /// The cameras whose runs are longer than their pipes, or shorter, by one and the same share.
    pub(crate) fn drifting_cameras(&self) -> &[Drift] {
        self.drifting_cameras.get_or_init(|| drifting_cameras(self, MIN_SHARE, |summary| stated_length(self, summary)))
    }

    /// Whether a run was made with a camera whose runs are all too long, or all too short; `distance-drift` says so once.
    pub(crate) fn camera_drifts(&self, run: &Run) -> bool {
        let drifting_cameras = self.drifting_cameras();
        !drifting_cameras.is_empty() && drifting_cameras.iter().any(|drift| drift.camera == camera_of(self, run))
    }

    /// Whether a run is dated far from the others of the document; `run-date-outlier` says so.
    pub(crate) fn is_date_outlier(&self, summary: &RunSummary) -> bool {
        self.date_outliers.get_or_init(|| run_dates::outliers(self)).binary_search(&summary.index).is_ok()
    }

    /// Whether a row names a run that the document does not have: where a run is missing, its pipe seems never to have been
    /// surveyed.
    #[must_use]
    pub fn misses_a_run(&self) -> bool {
        *self.misses_a_run.get_or_init(|| {
            let head = self.survey.head;
            let media = head.media.iter().filter_map(|row| row.run.as_ref());
            let ratings = head.ratings.iter().flat_map(|row| &row.runs);
            let reverse = self.runs.iter().filter_map(|summary| summary.run.reverse_of.as_ref());
            let mut named = media.chain(head.locates.iter().map(|row| &row.run)).chain(ratings).chain(reverse);
            named.any(|id| !self.knows_run(id))
        })
    }

    /// The runs through a pipe.
    pub fn runs_of(&self, pipe: &str) -> impl Iterator<Item = &'d RunSummary> + use<'d, '_> {
        let first = self.firsts.first_by(self.runs, pipe, of_pipe);
        std::iter::successors(first, |index| Some(self.next[*index] as usize).filter(|next| *next != LAST as usize))
            .map(|index| &self.runs[index])
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

impl<'r> Part<'r> {
    /// The survey that it is a part of.
    #[must_use]
    pub fn survey(&self) -> &'r Survey<'r> {
        match self {
            Self::Head(survey) => survey,
            Self::Run(view) => view.survey,
        }
    }

    /// What is not as the profile demands of fields.
    pub(crate) fn breaches(&self) -> &'r Breaches {
        match self {
            Self::Head(survey) => survey.breaches(),
            Self::Run(view) => view.breaches(),
        }
    }
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
    /// A locate of which no view is at hand, as before the runs have been read.
    pub(crate) fn place(index: usize, locate: &Locate) -> Spot {
        Spot {
            path: format!("/locates/{index}"),
            run: Some(locate.run.to_string()),
            distance: Some(locate.at.get()),
            ..Spot::default()
        }
    }

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
