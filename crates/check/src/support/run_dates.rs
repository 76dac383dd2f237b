//! Runs dated far from the other runs of a document. A survey takes some weeks, so a mistyped year
//! is an outlier. In an old survey that is delivered late, no run is.

use jiff::Timestamp;

use crate::support::time::{in_future, instant};
use crate::views::Ending;

/// How far a run may be from the median of all, in days. A mistyped year is off by at least 365
/// days less the length of the survey; surveys before and after works may be some months apart.
/// Common practice, no published source.
pub(crate) const OUTLIER_DAYS: f64 = 300.0;

/// No camera was used in a sewer before this year. Common knowledge, no published source.
pub(crate) const FIRST_CAMERA_YEAR: u16 = 1950;

/// How many runs are needed for a median.
const MIN_RUNS: usize = 3;

/// When a run was made: when it started, or else finished. A time in the future is ignored.
pub(crate) fn time_of_run(ending: &Ending<'_>, index: usize) -> Option<Timestamp> {
    let run = &ending.runs[index].run;
    let time = run.started.as_ref().or(run.finished.as_ref())?;
    if in_future(ending.survey, time) { None } else { instant(time) }
}

/// The runs far from the median, in the order of the document, if they are few.
pub(crate) fn outliers(ending: &Ending<'_>) -> Vec<usize> {
    let times: Vec<(usize, Timestamp)> = (0..ending.runs.len())
        .filter_map(|index| Some((index, time_of_run(ending, index)?)))
        .collect();
    let mut sorted: Vec<Timestamp> = times.iter().map(|(_, time)| *time).collect();
    sorted.sort_unstable();
    let Some(median) = sorted.get(sorted.len() / 2).filter(|_| sorted.len() >= MIN_RUNS) else {
        return Vec::new();
    };
    let days = |time: Timestamp| (time.duration_since(*median).as_secs_f64() / 86_400.0).abs();
    let far: Vec<usize> = times
        .iter()
        .filter(|(_, time)| days(*time) > OUTLIER_DAYS)
        .map(|(index, _)| *index)
        .collect();
    // If half of the runs are a year later, the survey was continued or repeated.
    if far.len() * 4 <= sorted.len().max(4) { far } else { Vec::new() }
}
