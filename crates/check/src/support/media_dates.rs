//! Compares the times of the media files of each run with the time of the run.

use std::collections::BTreeMap;

use jiff::Timestamp;
use obvert_model::tables::MediaKind;

use crate::support::time::{in_future, instant, run_span};
use crate::views::{Ending, MediaView};

/// The least number of files of a run, or of runs of a document, for one combined finding.
pub(crate) const MIN_COUNT: usize = 3;

/// When a run was made.
pub(crate) type TimeSpan = (Timestamp, Timestamp);

/// The dated files of a run.
#[derive(Default)]
pub(crate) struct RunFiles<'d> {
    pub(crate) span: Option<TimeSpan>,
    pub(crate) of: usize,
    pub(crate) outliers: Vec<MediaView<'d>>,
}

impl RunFiles<'_> {
    /// Whether all files of the run, and at least three, were taken at another time.
    pub(crate) fn all_outliers(&self) -> bool {
        self.of >= MIN_COUNT && self.outliers.len() == self.of
    }
}

/// How long before or after a run the site may be photographed; common practice, no published
/// source.
const SITE_HOURS: f64 = 18.0;

/// Whether a file shows the site and not the pipe: a photo without a distance that no observation
/// refers to.
fn of_site(ending: &Ending<'_>, view: &MediaView<'_>) -> bool {
    view.media.kind == MediaKind::Photo
        && view.media.at.is_none()
        && ending.shown_by(view.index).is_none()
}

/// The dated files of each run whose time is known, by the run's row.
pub(crate) fn files_by_run<'d>(
    ending: &'d Ending<'_>,
    slack: f64,
) -> BTreeMap<usize, RunFiles<'d>> {
    let survey = ending.survey;
    let mut runs: BTreeMap<usize, RunFiles<'d>> = BTreeMap::new();
    for view in survey.all_media() {
        let (Some(captured), Some(run)) = (&view.media.captured, &view.media.run) else { continue };
        let Some(summary) = ending.run(run) else { continue };
        // A permit or a plan is older than the run.
        if view.media.kind == MediaKind::Document
            || ending.is_date_outlier(summary)
            || summary.started().is_some_and(|time| in_future(survey, time))
        {
            continue;
        }
        // A still that an observation of another run refers to belongs to that run.
        let still = matches!(view.media.kind, MediaKind::Photo | MediaKind::Scan);
        if still && ending.shown_by(view.index).is_some_and(|shown| shown.index != summary.index) {
            continue;
        }
        let files = runs
            .entry(summary.index)
            .or_insert_with(|| RunFiles { span: run_span(&summary.run), ..RunFiles::default() });
        let (Some((started, finished)), Some(at)) = (files.span, instant(captured)) else {
            continue;
        };
        let (early, late) =
            (started.duration_since(at).as_secs_f64(), at.duration_since(finished).as_secs_f64());
        let apart = early.max(late);
        if apart > slack && apart <= SITE_HOURS * 3600.0 && of_site(ending, &view) {
            continue;
        }
        files.of += 1;
        if apart > slack && !in_future(survey, captured) {
            files.outliers.push(view);
        }
    }
    runs.retain(|_, files| files.of > 0);
    runs
}
