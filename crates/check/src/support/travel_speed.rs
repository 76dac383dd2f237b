//! How fast the camera moved: over a run, and between rows timed by one video.

use obvert_model::tables::MediaKind;
use obvert_model::text::Timestamp;

use crate::support::row_order;
use crate::support::time::seconds_between;
use crate::views::{RowView, RunView};

/// A distance, the seconds that the camera took for it, and the rounding of the times in seconds.
pub(crate) struct Travel {
    pub(crate) metres: f64,
    pub(crate) seconds: f64,
    rounding: f64,
}

impl Travel {
    /// Metres per minute.
    pub(crate) fn speed(&self) -> f64 {
        self.metres / (self.seconds + self.rounding).max(1.0) * 60.0
    }
}

/// Whether an observation of the run refers to a scan.
pub(crate) fn scans(run: &RunView<'_>) -> bool {
    let media = &run.survey.head.media;
    run.media.iter().flatten().any(|row| media[*row].kind == MediaKind::Scan)
}

/// The whole run.
pub(crate) fn whole_run(run: &RunView<'_>) -> Option<Travel> {
    let (started, finished) = (run.run.started.as_ref()?, run.run.finished.as_ref()?);
    let seconds = seconds_between(started, finished).filter(|seconds| *seconds >= 0.0)?;
    let whole =
        |time: &Timestamp| matches!(time.as_str().get(16..20), Some(":00Z" | ":00+" | ":00-"));
    let rounded = whole(started) && whole(finished);
    Some(Travel { metres: run.travelled()?, seconds, rounding: if rounded { 60.0 } else { 0.0 } })
}

/// The fastest part between two rows that are at least so many metres apart.
pub(crate) fn fastest<'r>(run: &'r RunView<'_>, least: f64) -> Option<(Travel, RowView<'r>)> {
    let mut mark: Option<(&str, f64, f64)> = None;
    let mut worst: Option<(Travel, RowView<'r>)> = None;
    for row in run.rows() {
        let timed = row
            .media()
            .find_map(|(shown, media)| Some((shown.id.as_str(), shown.offset?.get(), media)));
        let Some((id, offset, Some(media))) = timed else { continue };
        if media.kind != MediaKind::Video || !row_order::in_order(run, row.index) {
            continue;
        }
        let metres = run.survey.metres(row.row.at);
        if let Some((_, from, since)) = mark.filter(|mark| mark.0 == id && offset > mark.2) {
            if metres - from < least {
                continue;
            }
            let travel = Travel { metres: metres - from, seconds: offset - since, rounding: 1.0 };
            if worst.as_ref().is_none_or(|(most, _)| travel.speed() > most.speed()) {
                worst = Some((travel, row));
            }
        }
        mark = Some((id, metres, offset));
    }
    worst
}
