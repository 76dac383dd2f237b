//! How the distances of a run's rows stand to each other and to its end. Several rules ask, so that one mistyped
//! number is found by one of them and the others stand back.

use crate::views::{RunView, tolerance};

/// The distance at which a run ends, in the document's length unit: `surveyed`, or that of the row that closes the run
/// where it is farther, so that a `surveyed` mistyped too small does not put half of the rows beyond the end.
pub(crate) fn end(run: &RunView<'_>) -> Option<f64> {
    let surveyed = run.run.surveyed?.get();
    Some(run.marks().finish.map_or(surveyed, |finish| surveyed.max(finish.get())))
}

/// Whether a distance lies beyond the end of the run by more than the tolerance.
pub(crate) fn beyond(run: &RunView<'_>, at: f64) -> bool {
    end(run).is_some_and(|end| at > end + allowed(run, end))
}

/// The tolerance of a distance, in the document's length unit.
pub(crate) fn allowed(run: &RunView<'_>, at: f64) -> f64 {
    let unit = run.survey.head.units.length.metres();
    tolerance(at * unit) / unit
}

/// The distance that a row would have with its decimal point one place away, where the row breaks the order by more than
/// the tolerance and would then stand between its neighbours. The end of the run is the last row's neighbour.
pub(crate) fn slip(run: &RunView<'_>, index: usize) -> Option<f64> {
    let rows = &run.run.observations;
    let at = rows.get(index)?.at.get();
    let before = index.checked_sub(1).map(|before| rows[before].at.get());
    let after = match rows.get(index + 1) {
        Some(after) => after.at.get(),
        None => run.run.surveyed.map(|end| end.get() + allowed(run, end.get()))?,
    };
    let falls = before.is_some_and(|before| at < before - allowed(run, before));
    if !falls && at <= after + allowed(run, after) {
        return None;
    }
    let before = before.unwrap_or_else(|| run.reads());
    // A product of ten may leave the last digit of a double astray.
    let fits = |moved: &f64| *moved >= before - 1e-9 && *moved <= after + 1e-9;
    [at * 10.0, at / 10.0].into_iter().filter(|_| at > 0.0).map(|moved| (moved * 1e6).round() / 1e6).find(fits)
}

/// Whether every row lies before the one above it, or level with it: the run was entered from its far end.
pub(crate) fn backwards(run: &RunView<'_>) -> bool {
    let rows = &run.run.observations;
    match (rows.first(), rows.last()) {
        (Some(first), Some(last)) if rows.len() >= 3 && last.at < first.at => {
            rows.windows(2).all(|pair| pair[1].at <= pair[0].at)
        }
        _ => false,
    }
}

/// Whether a row stands in order with its neighbours and within the run.
pub(crate) fn settled(run: &RunView<'_>, index: usize) -> bool {
    let rows = &run.run.observations;
    let Some(row) = rows.get(index) else { return false };
    let after_before = index.checked_sub(1).is_none_or(|before| rows[before].at <= row.at);
    let before_after = rows.get(index + 1).is_none_or(|after| row.at <= after.at);
    after_before && before_after && row.at.get() >= run.reads() && !beyond(run, row.at.get())
}
