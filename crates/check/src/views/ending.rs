//! The whole survey, after its runs were read and their observations dropped.

use std::cell::OnceCell;

use obvert_model::tables::{Aspect, Head, Locate, OutcomeKind, Rating, Run, StopReason};
use obvert_model::text::{RunId, Timestamp};

use super::id_index::IdIndex;
use super::{Marks, RowView, RunView, Subject, Survey};
use crate::grading::{GradeTotals, Grader};
use crate::profile::Violations;
use crate::support::changes::Changes;
use crate::support::column_votes::ColumnVotes;
use crate::support::corrected_grades::corrected_totals;
use crate::support::course_marks::CourseMarks;
use crate::support::distance_drift::{
    Drift, MIN_SHARE, camera_of, drifting_cameras, stated_length,
};
use crate::support::late_offsets::LateOffsets;
use crate::support::missing_runs::refers_to_missing_run;
use crate::support::row_digest::{RowDigest, digests, laterals};
use crate::support::run_content::content;
use crate::support::run_dates;
use crate::support::run_extent::unit_mixup;
use crate::support::stop_reasons::unrecorded_reason;
use crate::support::texts::{UnusualText, unusual_texts};

/// A run after it was read, without its observations.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct RunSummary {
    /// Its row.
    pub index: usize,
    /// The run without its observations.
    pub run: Run,
    /// What its observations showed.
    pub(crate) figures: RunFigures,
}

/// Figures that are computed from the observations of a run, before they are dropped.
#[derive(Clone, Debug)]
pub(crate) struct RunFigures {
    /// How many there are.
    pub(crate) observations: usize,
    /// What they record of the course of the pipe.
    pub(crate) course: CourseMarks,
    /// Its changes of the cross-section.
    pub(crate) changes: Changes,
    /// How many of them had a recorded grade.
    pub(crate) graded: usize,
    /// The distance from its zero point to its last reading, in metres.
    pub(crate) travelled: Option<f64>,
    /// Its start and end by its rows.
    pub(crate) marks: Marks,
    /// Which changes of the cross-section it records.
    pub(crate) changed: u8,
    /// A number that differs if its rows do; `None` if there is too little in them to compare.
    pub(crate) content: Option<u64>,
    /// The totals of its grades, by aspect.
    totals: [GradeTotals; 2],
    /// The same without the faults that other rules report; `None` if there are none.
    pub(crate) corrected: Option<Box<[GradeTotals; 2]>>,
    /// Its rows, without those that only record the run.
    pub(crate) rows: Box<[RowDigest]>,
    /// The rows of the laterals, in the table of pipes, that its rows name.
    pub(crate) laterals: Box<[usize]>,
    /// The rows that are shown after the end of their recordings.
    pub(crate) late: LateOffsets,
    /// Why it was stopped, if it can be seen and no row near its end records it.
    pub(crate) unrecorded_reason: Option<StopReason>,
}

impl RunFigures {
    pub(crate) fn of(view: &RunView<'_>) -> Self {
        let mut totals = [GradeTotals::default(), GradeTotals::default()];
        let grader = view.survey.grader.as_ref();
        if let Some(grader) = grader {
            view.rows().for_each(|row| add_grades(&row, grader, &mut totals));
            totals.iter_mut().for_each(|totals| totals.end_run(grader.scheme));
        }
        Self {
            observations: view.run.observations.len(),
            course: CourseMarks::of(view),
            changes: Changes::of(view),
            graded: view.run.observations.iter().filter(|row| row.grades.is_some()).count(),
            travelled: view.travelled(),
            marks: view.marks(),
            changed: view.recorded_changes(),
            content: content(&view.run.observations),
            totals,
            corrected: grader.and_then(|grader| corrected_totals(view, grader.scheme)),
            rows: digests(view),
            laterals: laterals(view),
            late: view.late_offsets().clone(),
            unrecorded_reason: unrecorded_reason(view),
        }
    }
}

/// Counts the grades of an observation: the recorded one, as ratings do, or else the computed one.
fn add_grades(row: &RowView<'_>, grader: &Grader<'_>, totals: &mut [GradeTotals; 2]) {
    if row.row.grades.is_none() && row.facts.entries.is_none() {
        return;
    }
    let extent = row.grade_extent();
    for (aspect, totals) in [Aspect::Structural, Aspect::Operational].into_iter().zip(totals) {
        if let Some(grade) = row.recorded(aspect).or_else(|| row.graded(aspect)) {
            totals.add(grade, extent, grader.scheme);
        }
    }
}

impl RunSummary {
    /// How many observations it had.
    #[must_use]
    pub fn observations(&self) -> usize {
        self.figures.observations
    }

    /// The distance from its zero point to its last reading, in metres.
    #[must_use]
    pub fn travelled(&self) -> Option<f64> {
        self.figures.travelled
    }

    /// The run, or a field of it; `field` is empty or a pointer such as `/reverse_of`.
    #[must_use]
    pub fn subject(&self, field: &str) -> Subject {
        Subject::of_run(self.index, &self.run, field)
    }

    /// Its rows, without those that only record the run.
    pub(crate) fn digests(&self) -> &[RowDigest] {
        &self.figures.rows
    }

    /// The totals of its grades in an aspect.
    pub(crate) fn totals(&self, aspect: Aspect) -> &GradeTotals {
        &self.figures.totals[aspect as usize]
    }

    /// The totals of its grades in an aspect without the faults that other rules report.
    pub(crate) fn corrected(&self, aspect: Aspect) -> &GradeTotals {
        self.figures
            .corrected
            .as_ref()
            .map_or_else(|| self.totals(aspect), |corrected| &corrected[aspect as usize])
    }

    /// Its outcome.
    #[must_use]
    pub fn outcome(&self) -> Option<OutcomeKind> {
        self.run.outcome.as_ref().map(|outcome| outcome.kind)
    }

    /// When it started.
    #[must_use]
    pub fn started(&self) -> Option<&Timestamp> {
        self.run.started.as_ref()
    }
}

/// The whole survey, after all runs have been read.
#[derive(Debug)]
#[non_exhaustive]
pub struct Ending<'d> {
    /// The survey.
    pub survey: &'d Survey<'d>,
    /// Its runs, in the order of the document.
    pub runs: &'d [RunSummary],
    shown_by: &'d ShownBy,
    /// How many values agree on a mistake in a whole column.
    pub(crate) columns: &'d ColumnVotes,
    ids: IdIndex,
    /// The first run of every pipe, and for every run the next one of its pipe.
    firsts: IdIndex,
    next: Vec<u32>,
    refers_to_missing_run: OnceCell<bool>,
    lengths_doubtful: OnceCell<bool>,
    date_outliers: OnceCell<Vec<usize>>,
    drifting_cameras: OnceCell<Vec<Drift>>,
}

/// Marks the last run of a pipe.
const LAST: u32 = u32::MAX;

/// Marks a media file without a run.
const NO_RUN: u32 = u32::MAX;

/// For every media file, a run with an observation that refers to it; the file's own run if
/// possible.
#[derive(Debug)]
pub(crate) struct ShownBy(Vec<u32>);

impl ShownBy {
    pub(crate) fn new(head: &Head) -> Self {
        Self(vec![NO_RUN; head.media.len()])
    }

    /// Adds the media of a run's observations.
    pub(crate) fn add(&mut self, view: &RunView<'_>) {
        for index in view.media.iter().flatten() {
            let shown = &mut self.0[*index];
            if *shown == NO_RUN || view.survey.head.media[*index].run.as_ref() == Some(&view.run.id)
            {
                *shown = u32::try_from(view.index).unwrap_or(NO_RUN);
            }
        }
    }
}

fn of_id(summary: &RunSummary) -> &str {
    &summary.run.id
}

fn of_pipe(summary: &RunSummary) -> &str {
    &summary.run.pipe
}

impl<'d> Ending<'d> {
    pub(crate) fn new(
        survey: &'d Survey<'d>,
        runs: &'d [RunSummary],
        shown_by: &'d ShownBy,
        columns: &'d ColumnVotes,
    ) -> Self {
        let firsts = IdIndex::by(runs, of_pipe);
        let mut next = vec![LAST; runs.len()];
        // From the end, so that the runs of a pipe are in the order of the document.
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
            columns,
            ids: IdIndex::by(runs, of_id),
            firsts,
            next,
            refers_to_missing_run: OnceCell::new(),
            lengths_doubtful: OnceCell::new(),
            date_outliers: OnceCell::new(),
            drifting_cameras: OnceCell::new(),
        }
    }

    /// A run with an observation that refers to a media file; the file's own run if possible.
    pub(crate) fn shown_by(&self, media: usize) -> Option<&'d RunSummary> {
        self.shown_by
            .0
            .get(media)
            .filter(|run| **run != NO_RUN)
            .map(|run| &self.runs[*run as usize])
    }

    /// The run of an id; `None` also if two runs have the id.
    #[must_use]
    pub fn run(&self, id: &RunId) -> Option<&'d RunSummary> {
        self.ids.only_by(self.runs, id, of_id).map(|index| &self.runs[index])
    }

    /// The first run of an id.
    pub(crate) fn run_named(&self, id: &str) -> Option<&'d RunSummary> {
        self.ids.first_by(self.runs, id, of_id).map(|index| &self.runs[index])
    }

    /// Whether there is a run of an id.
    pub(crate) fn has_run(&self, id: &str) -> bool {
        self.ids.first_by(self.runs, id, of_id).is_some()
    }

    /// Whether distances seem to be in another unit than the declared one, compared with the
    /// positions or with the lengths of the pipes. `length-unit-suspect` reports it.
    pub(crate) fn lengths_doubtful(&self) -> bool {
        *self
            .lengths_doubtful
            .get_or_init(|| self.survey.lengths_doubtful() || unit_mixup(self).is_some())
    }

    /// The cameras whose runs are longer or shorter than their pipes by the same share.
    pub(crate) fn drifting_cameras(&self) -> &[Drift] {
        self.drifting_cameras.get_or_init(|| {
            drifting_cameras(self, MIN_SHARE, |summary| stated_length(self, summary))
        })
    }

    /// Whether a run was made with one of these cameras; `distance-drift` reports it.
    pub(crate) fn camera_drifts(&self, run: &Run) -> bool {
        let drifting_cameras = self.drifting_cameras();
        !drifting_cameras.is_empty()
            && drifting_cameras.iter().any(|drift| drift.camera == camera_of(self, run))
    }

    /// Whether a run is dated far from the others; `run-date-outlier` reports it.
    pub(crate) fn is_date_outlier(&self, summary: &RunSummary) -> bool {
        self.date_outliers
            .get_or_init(|| run_dates::outliers(self))
            .binary_search(&summary.index)
            .is_ok()
    }

    /// Whether a row refers to a run that the document does not have.
    pub(crate) fn refers_to_missing_run(&self) -> bool {
        *self.refers_to_missing_run.get_or_init(|| refers_to_missing_run(self))
    }

    /// The runs through a pipe.
    pub fn runs_of(&self, pipe: &str) -> impl Iterator<Item = &'d RunSummary> + use<'d, '_> {
        let first = self.firsts.first_by(self.runs, pipe, of_pipe);
        std::iter::successors(first, |index| {
            Some(self.next[*index] as usize).filter(|next| *next != LAST as usize)
        })
        .map(|index| &self.runs[index])
    }

    /// Whether a run through a pipe records one of these changes of the cross-section.
    pub(crate) fn changes_within(&self, pipe: &str, changes: u8) -> bool {
        self.runs_of(pipe).any(|summary| summary.figures.changed & changes != 0)
    }

    /// The views of all ratings.
    pub(crate) fn ratings(&self) -> impl Iterator<Item = RatingView<'_>> {
        let ratings = self.survey.head.ratings.iter().enumerate();
        ratings.map(|(index, rating)| RatingView { ending: self, rating, index })
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

/// A part of a document: first the head, then every run with its observations.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub enum Part<'r> {
    /// The head and its tables.
    Head(&'r Survey<'r>),
    /// A run.
    Run(&'r RunView<'r>),
}

impl<'r> Part<'r> {
    /// Its survey.
    #[must_use]
    pub fn survey(&self) -> &'r Survey<'r> {
        match self {
            Self::Head(survey) => survey,
            Self::Run(view) => view.survey,
        }
    }

    /// One of its rows. `rows` are the numbers of the rows that contain it, then its own.
    pub(crate) fn subject(&self, table: &[String], rows: &[usize]) -> Subject {
        let keys: Vec<&str> = table.iter().map(String::as_str).collect();
        match (self, keys.as_slice(), rows) {
            (Self::Run(view), ["runs", "observations", ..], [_, row, ..]) => {
                view.row(*row).subject("")
            }
            (Self::Run(view), ..) => view.subject(""),
            (Self::Head(survey), [table, ..], [row, ..]) => survey.subject(table, *row),
            (Self::Head(_), ..) => Subject::default(),
        }
    }

    /// Its texts that are not plain ASCII, or that have white space around them.
    pub(crate) fn unusual_texts(&self) -> &'r [UnusualText] {
        match self {
            Self::Head(survey) => survey.unusual_texts.get_or_init(|| unusual_texts(self)),
            Self::Run(view) => view.unusual_texts.get_or_init(|| unusual_texts(self)),
        }
    }

    /// Its fields that do not meet the demands of the profile.
    pub(crate) fn violations(&self) -> &'r Violations {
        match self {
            Self::Head(survey) => survey.violations(),
            Self::Run(view) => view.violations(),
        }
    }
}

/// A locate, after all runs have been read.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub struct LocateView<'d> {
    /// The whole survey.
    pub ending: &'d Ending<'d>,
    /// The locate.
    pub locate: &'d Locate,
    /// Its row.
    pub index: usize,
}

impl LocateView<'_> {
    /// The subject of a locate before the runs were read, so that its pipe is unknown.
    pub(crate) fn row_subject(index: usize, locate: &Locate, field: &str) -> Subject {
        Subject {
            run: Some(locate.run.to_string()),
            distance: Some(locate.at.get()),
            ..Subject::at(format!("/locates/{index}{field}"))
        }
    }

    /// The locate, or a field of it; `field` is empty or a pointer such as `/depth`.
    #[must_use]
    pub fn subject(&self, field: &str) -> Subject {
        Subject {
            pipe: self.ending.run(&self.locate.run).map(|summary| summary.run.pipe.to_string()),
            ..Self::row_subject(self.index, self.locate, field)
        }
    }
}

/// A rating, after all runs have been read.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub struct RatingView<'d> {
    /// The whole survey.
    pub ending: &'d Ending<'d>,
    /// The rating.
    pub rating: &'d Rating,
    /// Its row.
    pub index: usize,
}

impl RatingView<'_> {
    /// The rating, or a field of it; `field` is empty or a pointer such as `/peak`.
    #[must_use]
    pub fn subject(&self, field: &str) -> Subject {
        Self::row_subject(self.index, self.rating, field)
    }

    /// The subject of a rating before the runs were read.
    pub(crate) fn row_subject(index: usize, rating: &Rating, field: &str) -> Subject {
        Subject {
            path: format!("/ratings/{index}{field}"),
            pipe: Some(rating.pipe.to_string()),
            ..Subject::default()
        }
    }
}
