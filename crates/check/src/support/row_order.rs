//! The order of a run's rows by distance, and the end of the run. Several rules share this, so that
//! one mistyped number gives one finding.

use obvert_model::lists::Role;
use obvert_model::number::Length;

use crate::views::{RunView, tolerance};

/// The parts of a document that the order of rows is concluded from.
pub(crate) const EVIDENCE: &[&str] = &["run.observations", "run.surveyed", "run.counter"];

/// The distance at which a run ends, in the document's length unit: `surveyed`, or the distance of
/// the closing row if that is farther, so that a mistyped `surveyed` does not put half of the rows
/// past the end.
pub(crate) fn run_end(run: &RunView<'_>) -> Option<f64> {
    let surveyed = run.run.surveyed?.get();
    Some(run.marks().finish.map_or(surveyed, |finish| surveyed.max(finish.get())))
}

/// Whether a distance is past the end of the run by more than the tolerance.
pub(crate) fn past_end(run: &RunView<'_>, at: f64) -> bool {
    run_end(run).is_some_and(|end| at > end + tolerance_at(run, end))
}

/// The tolerance of a distance, in the document's length unit.
pub(crate) fn tolerance_at(run: &RunView<'_>, at: f64) -> f64 {
    let unit = run.survey.head.units.length.metres();
    tolerance(at * unit) / unit
}

/// The largest number of decimals that is looked at.
pub(crate) const DECIMALS: usize = 6;

/// The decimals of a counter that states no resolution: to a tenth, as counters of cameras show.
/// Common practice, no published source.
const USUAL_DECIMALS: usize = 1;

/// How many decimals a number has, up to [`DECIMALS`].
pub(crate) fn decimals(number: f64) -> usize {
    let mut scaled = number.abs();
    for places in 0..DECIMALS {
        if (scaled - scaled.round()).abs() <= 1e-9 * scaled.max(1.0) {
            return places;
        }
        scaled *= 10.0;
    }
    DECIMALS
}

/// The most decimals that the counter of a run shows: those of its resolution, or of the distance
/// of another row than this one.
fn counter_decimals(run: &RunView<'_>, index: usize) -> usize {
    let resolution = run.run.counter.as_ref().and_then(|counter| counter.resolution);
    let stated = resolution.map_or(USUAL_DECIMALS, |step| decimals(step.get()));
    let mut rows = *run.decimals();
    let own = decimals(run.run.observations[index].at.get());
    rows[own] = rows[own].saturating_sub(1);
    rows.iter().rposition(|rows| *rows > 0).map_or(stated, |most| most.max(stated))
}

/// Whether the row at `index` and the row above it are in order, between their neighbours and
/// within the surveyed length, once they change places.
fn exchange_restores(run: &RunView<'_>, index: usize) -> bool {
    let rows = &run.run.observations;
    let Some(upper) = index.checked_sub(1).and_then(|above| rows.get(above)) else { return false };
    let Some(lower) = rows.get(index) else { return false };
    let above = index.checked_sub(2).map_or_else(|| run.reads(), |above| rows[above].at.get());
    let below = rows.get(index + 1).map(|row| row.at.get());
    // The closing row may be the one that is wrong, so it does not count here.
    let surveyed = run.run.surveyed.map(Length::get);
    above <= lower.at.get()
        && lower.at < upper.at
        && below.is_none_or(|below| upper.at.get() <= below)
        && surveyed.is_none_or(|end| upper.at.get() <= end + tolerance_at(run, end))
}

/// The distance of a row with its decimal point moved by one place, if the row breaks the order by
/// more than the tolerance and would then fit between its neighbours. The neighbour of the last row
/// is the end of the run.
///
/// A distance that is finer than the counter shows is no explanation. If exchanging the row with a
/// neighbour explains the order as well, the decimal point does so only if the recorded distance is
/// finer than the counter shows.
pub(crate) fn decimal_slip(run: &RunView<'_>, index: usize) -> Option<f64> {
    if run.disordered() || run.is_next_to_repeated(index) {
        return None;
    }
    let rows = &run.run.observations;
    let at = rows.get(index)?.at.get();
    let before = index.checked_sub(1).map(|before| rows[before].at.get());
    let after = match rows.get(index + 1) {
        Some(after) => after.at.get(),
        None => run.run.surveyed.map(|end| end.get() + tolerance_at(run, end.get()))?,
    };
    let falls = before.is_some_and(|before| at < before - tolerance_at(run, before));
    if !falls && at <= after + tolerance_at(run, after) {
        return None;
    }
    let before = before.unwrap_or_else(|| run.reads());
    // Multiplying by ten may change the last digit of a double.
    let fits = |moved: &f64| *moved >= before - 1e-9 && *moved <= after + 1e-9;
    let mut moved = [at * 10.0, at / 10.0]
        .into_iter()
        .filter(|_| at > 0.0)
        .map(|moved| (moved * 1e6).round() / 1e6)
        .filter(fits)
        .peekable();
    moved.peek()?;
    let shown = counter_decimals(run, index);
    let exchanged = exchange_restores(run, index) || exchange_restores(run, index + 1);
    if exchanged && decimals(at) <= shown {
        return None;
    }
    moved.find(|moved| decimals(*moved) <= shown)
}

/// Whether no row is farther than the row before it: the run was entered from its far end.
pub(crate) fn reversed(run: &RunView<'_>) -> bool {
    let rows = &run.run.observations;
    match (rows.first(), rows.last()) {
        (Some(first), Some(last)) if rows.len() >= 3 && last.at < first.at => {
            rows.windows(2).all(|pair| pair[1].at <= pair[0].at)
        }
        _ => false,
    }
}

/// Whether there is a start row at a distance.
pub(crate) fn starts_at(run: &RunView<'_>, at: Length) -> bool {
    run.rows().any(|row| row.row.at == at && row.role() == Some(Role::Start))
}

/// How many rows must move for the others to be in order, if there are so many that the rows were
/// sorted by something else than distance: at least three, and more than one in four. A return to
/// zero after which the distances rise again is a counter reset and does not count. If the ids show
/// what the rows were sorted by, any number is enough.
pub(crate) fn out_of_order(run: &RunView<'_>) -> Option<usize> {
    let rows = &run.run.observations;
    let falls = run.falls();
    falls.clone().next()?;
    if sorted_as_text(run) {
        return Some(rows.len() - longest_rising(rows.iter().map(|row| row.at.get())));
    }
    falls.clone().nth(1)?;
    let zero = near_zero(run);
    let rises_again = |index: usize| rows[index..].iter().any(|row| row.at.get() > zero);
    falls.clone().filter(|index| rows[*index].at.get() > zero || !rises_again(*index)).nth(1)?;
    let out = rows.len() - longest_rising(rows.iter().map(|row| row.at.get()));
    (out >= 3 && out * 4 > rows.len()).then_some(out)
}

/// Whether the rows were sorted by numeric ids as text, 10 before 2, and are in order of distance
/// by number.
pub(crate) fn sorted_as_text(run: &RunView<'_>) -> bool {
    let rows = &run.run.observations;
    if !rows.windows(2).all(|pair| pair[0].id.as_str() < pair[1].id.as_str()) {
        return false;
    }
    let number = |id: &str| {
        id.bytes().all(|byte| byte.is_ascii_digit()).then(|| id.parse::<u32>().ok()).flatten()
    };
    let numbered: Option<Vec<_>> =
        rows.iter().map(|row| Some((number(&row.id)?, row.at))).collect();
    let Some(mut numbered) = numbered else { return false };
    numbered.sort_by_key(|(number, _)| *number);
    numbered.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 <= pair[1].1)
}

/// The length of the longest non-decreasing subsequence.
fn longest_rising(values: impl Iterator<Item = f64>) -> usize {
    // The least last value of a subsequence of each length.
    let mut lasts: Vec<f64> = Vec::new();
    for value in values {
        let longer = lasts.partition_point(|last| *last <= value);
        match lasts.get_mut(longer) {
            Some(last) => *last = value,
            None => lasts.push(value),
        }
    }
    lasts.len()
}

/// The largest distance that counts as zero: one foot more than the counter showed at its zero
/// point.
pub(crate) fn near_zero(run: &RunView<'_>) -> f64 {
    run.reads() + 0.3048 / run.survey.head.units.length.metres()
}

/// Which of two rows is out of step where the distance decreases at `index`: the upper one if
/// removing it puts the others in order, otherwise the lower one. Of the last two rows, it is the
/// upper one if it is past the end of the run and the lower one is not.
pub(crate) fn out_of_step(run: &RunView<'_>, index: usize) -> usize {
    let rows = &run.run.observations;
    let (at, before) = (rows[index].at, rows[index - 1].at);
    let steady = index < 2 || rows[index - 2].at <= at;
    let upper = steady
        && match rows.get(index + 1) {
            Some(next) => next.at < before,
            None => past_end(run, before.get()) && !past_end(run, at.get()),
        };
    if upper { index - 1 } else { index }
}

/// The first row after a reset of the counter: the distance returns to zero, later rows rise from
/// there, and leaving out the row before would not restore the order.
pub(crate) fn counter_reset(run: &RunView<'_>) -> Option<usize> {
    let rows = &run.run.observations;
    let zero = near_zero(run);
    run.falls().filter(|index| rows[*index].at.get() <= zero).find(|index| {
        let (at, before) = (rows[*index].at, rows[index - 1].at);
        let steady = *index < 2 || rows[index - 2].at <= at;
        // Several rows may be recorded where the counter was set to zero.
        let next = rows[*index..].iter().find(|row| row.at != at);
        let on = next.is_some_and(|next| next.at > at && next.at < before);
        let far = rows[*index..].iter().any(|row| row.at.get() > zero);
        !steady && on && far && at.get() >= run.reads() && decimal_slip(run, *index).is_none()
    })
}

/// Whether a row is in order with its neighbours and within the run.
pub(crate) fn in_order(run: &RunView<'_>, index: usize) -> bool {
    let rows = &run.run.observations;
    let Some(row) = rows.get(index) else { return false };
    let after_before = index.checked_sub(1).is_none_or(|before| rows[before].at <= row.at);
    let before_after = rows.get(index + 1).is_none_or(|after| row.at <= after.at);
    after_before && before_after && row.at.get() >= run.reads() && !past_end(run, row.at.get())
}

#[cfg(test)]
mod tests {
    use super::{decimals, longest_rising};

    #[test]
    fn decimals_are_counted_as_they_are_written() {
        let cases = [
            (0.0, 0),
            (12.0, 0),
            (12.4, 1),
            (0.1 + 0.2, 1),
            (17.25, 2),
            (1.725, 3),
            (96.3 / 10.0, 2),
            (123_456.7, 1),
            (1.0 / 3.0, 6),
        ];
        for (number, wanted) in cases {
            assert_eq!(decimals(number), wanted, "{number}");
        }
    }

    #[test]
    fn the_longest_rising_sequence_is_found() {
        let cases: [(&[f64], usize); 6] = [
            (&[], 0),
            (&[1.0, 2.0, 2.0, 3.0], 4),
            (&[3.0, 2.0, 1.0], 1),
            (&[1.0, 9.0, 2.0, 3.0], 3),
            (&[5.0, 6.0, 1.0, 2.0, 3.0], 3),
            (&[2.0, 1.0, 4.0, 3.0, 6.0, 5.0], 3),
        ];
        for (values, longest) in cases {
            assert_eq!(longest_rising(values.iter().copied()), longest, "{values:?}");
        }
    }
}
