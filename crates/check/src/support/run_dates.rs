//! Which runs of a document are dated far from the others. A survey is the work of some weeks; a year that was mistyped moves
//! one run out of them. An old survey that is delivered late has all of its runs together, whatever their year.

use jiff::Timestamp;

use crate::support::time::{in_future, instant};
use crate::views::Ending;

/// How far a run may lie from the median of all, in days. A mistyped year is at least 365 less the length of the survey; a survey
/// before and one after the work may be some months apart. Common practice, no published source.
pub(crate) const OUTLIER_DAYS: f64 = 300.0;

/// Before this year no camera went into a sewer. Common knowledge, no published source.
pub(crate) const FIRST_CAMERA_YEAR: u16 = 1950;

/// Fewer runs have no middle.
const MIN_RUNS: usize = 3;

/// When a run was made: when it was begun, or finished where no more is known. A time in the future is left out.
pub(crate) fn time_of_run(ending: &Ending<'_>, index: usize) -> Option<Timestamp> {
    let run = &ending.runs[index].run;
    let time = run.started.as_ref().or(run.finished.as_ref())?;
    if in_future(ending.survey, time) { None } else { instant(time) }
}

/// The runs that lie far from the others, in the order of the document, of which there are more.
pub(crate) fn outliers(ending: &Ending<'_>) -> Vec<usize> {
    let times: Vec<(usize, Timestamp)> =
        (0..ending.runs.len()).filter_map(|index| Some((index, time_of_run(ending, index)?))).collect();
    let mut sorted: Vec<Timestamp> = times.iter().map(|(_, time)| *time).collect();
    sorted.sort_unstable();
    let Some(median) = sorted.get(sorted.len() / 2).filter(|_| sorted.len() >= MIN_RUNS) else { return Vec::new() };
    let days = |time: Timestamp| (time.duration_since(*median).as_secs_f64() / 86_400.0).abs();
    let far: Vec<usize> =
        times.iter().filter(|(_, time)| days(*time) > OUTLIER_DAYS).map(|(index, _)| *index).collect();
    // Half of the runs a year later is a survey that went on, or was made again.
    if far.len() * 4 <= sorted.len().max(4) { far } else { Vec::new() }
}
