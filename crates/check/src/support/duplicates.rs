//! Rows of a run that repeat another row. Rules report them, and totals of grades exclude them.

use obvert_model::tables::{ClockReading, Observation};
use rustc_hash::FxHashMap;

use crate::views::RunView;

/// How many rows at one distance are compared. If more are at the same distance, the distances are
/// wrong.
const MAX_SAME_DISTANCE: usize = 16;

/// A counter with such steps, in metres, shows one reading for two things at different places.
const COARSE: f64 = 0.3;

/// How many earlier stretches of a code are compared, so that the time stays linear in the rows.
const MAX_EARLIER_STRETCHES: usize = 32;

/// The rows at a point that repeat an earlier row, each with that row.
pub(crate) fn duplicates(run: &RunView<'_>) -> Vec<(usize, usize)> {
    let rows = &run.run.observations;
    let mut duplicates = Vec::new();
    if run.counter_step().is_some_and(|step| run.survey.metres(step) >= COARSE) {
        return duplicates;
    }
    for (index, row) in rows.iter().enumerate().skip(1) {
        if rows[index - 1].at != row.at || row.is_stretch() {
            continue;
        }
        let mut level =
            (0..index).rev().take(MAX_SAME_DISTANCE).take_while(|other| rows[*other].at == row.at);
        duplicates.extend(
            level.find(|other| indistinguishable(&rows[*other], row)).map(|other| (index, other)),
        );
    }
    duplicates
}

/// Consecutive rows that repeat earlier rows, or one row out of order that repeats another:
/// probably pasted or imported twice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct RepeatedRows {
    /// The first of them.
    pub(crate) from: usize,
    /// The first of those that they repeat.
    pub(crate) of: usize,
    /// How many there are.
    pub(crate) rows: usize,
}

impl RepeatedRows {
    /// Whether a row is one that repeats another.
    pub(crate) fn has(&self, index: usize) -> bool {
        (self.from..self.from + self.rows).contains(&index)
    }
}

/// The repeated rows of a run, equal in everything but their ids: sequences of at least two rows
/// that begin where the distance decreases, and single rows that are out of order.
pub(crate) fn repeated_rows(run: &RunView<'_>) -> Vec<RepeatedRows> {
    let rows = &run.run.observations;
    let mut found: Vec<RepeatedRows> = Vec::new();
    let falls: Vec<usize> =
        (1..rows.len()).filter(|index| rows[*index].at < rows[index - 1].at).collect();
    if falls.is_empty() {
        return found;
    }
    let mut at: FxHashMap<u64, Vec<usize>> = FxHashMap::default();
    for (index, row) in rows.iter().enumerate() {
        at.entry(row.at.get().to_bits()).or_default().push(index);
    }
    for &from in &falls {
        if found.last().is_some_and(|last| last.has(from)) {
            continue;
        }
        let candidates = at.get(&rows[from].at.get().to_bits()).map_or(&[][..], Vec::as_slice);
        let best =
            candidates.iter().take_while(|of| **of < from).take(MAX_SAME_DISTANCE).map(|of| {
                let length = (0..from - of).take_while(|step| {
                    rows.get(from + step)
                        .is_some_and(|again| rows[of + step].equals_except_id(again))
                });
                RepeatedRows { from, of: *of, rows: length.count() }
            });
        // The first one of the longest.
        let best = best.max_by_key(|repeat| (repeat.rows, std::cmp::Reverse(repeat.of)));
        found.extend(best.filter(|repeat| {
            let last = repeat.of + repeat.rows.saturating_sub(1);
            repeat.rows >= 2 && rows[last].at > rows[repeat.of].at
        }));
    }
    // Either row of a decrease can be the repeated one.
    let mut single = Vec::new();
    for from in falls.iter().flat_map(|fall| [fall - 1, *fall]) {
        if found.iter().chain(&single).any(|repeat: &RepeatedRows| repeat.has(from))
            || !out_of_place(rows, from)
        {
            continue;
        }
        let candidates = at.get(&rows[from].at.get().to_bits()).map_or(&[][..], Vec::as_slice);
        let of = candidates.iter().take(MAX_SAME_DISTANCE).find(|of| {
            **of != from
                && in_order_with_neighbours(rows, **of)
                && rows[**of].equals_except_id(&rows[from])
        });
        single.extend(of.map(|of| RepeatedRows { from, of: *of, rows: 1 }));
    }
    found.append(&mut single);
    found.sort_by_key(|repeat| repeat.from);
    found
}

/// Whether a row is in order with the row before it and the row after it.
fn in_order_with_neighbours(rows: &[Observation], index: usize) -> bool {
    let at = rows[index].at;
    index.checked_sub(1).is_none_or(|above| rows[above].at <= at)
        && rows.get(index + 1).is_none_or(|below| at <= below.at)
}

/// Whether a row is out of order while its neighbours are in order.
fn out_of_place(rows: &[Observation], index: usize) -> bool {
    let without = match (index.checked_sub(1), rows.get(index + 1)) {
        (Some(above), Some(below)) => rows[above].at <= below.at,
        _ => true,
    };
    without && !in_order_with_neighbours(rows, index)
}

/// Whether two rows record the same.
fn indistinguishable(a: &Observation, b: &Observation) -> bool {
    a.code == b.code
        && !a.is_stretch()
        && a.characterisation == b.characterisation
        && a.quantities == b.quantities
        && a.clock == b.clock
        && a.joint == b.joint
        && a.joins == b.joins
        && a.flow == b.flow
        && (a.remark.is_none() || b.remark.is_none() || a.remark == b.remark)
        && (a.media.is_empty() || b.media.is_empty() || a.media == b.media)
}

/// The stretches that overlap an earlier stretch of the same code, each with that stretch.
pub(crate) fn overlapping_stretches(run: &RunView<'_>) -> Vec<(usize, usize)> {
    let rows = &run.run.observations;
    let stretches =
        || (0..rows.len()).filter(|index| rows[*index].to.is_some_and(|to| to > rows[*index].at));
    let mut overlapping_stretches = Vec::new();
    if stretches().nth(1).is_none() {
        return overlapping_stretches;
    }
    let mut open: FxHashMap<&str, Vec<usize>> = FxHashMap::default();
    for index in stretches() {
        let row = &rows[index];
        let before = open.entry(row.code.as_str()).or_default();
        let overlapping = before.iter().rev().take(MAX_EARLIER_STRETCHES).find(|other| {
            let other = &rows[**other];
            other.at < row.end()
                && row.at < other.end()
                && other.characterisation == row.characterisation
                && clocks_overlap(other, row)
        });
        overlapping_stretches.extend(overlapping.map(|other| (index, *other)));
        before.push(index);
    }
    overlapping_stretches
}

/// Whether two rows are, or may be, on the same part of the wall. An invalid clock reference never
/// is.
fn clocks_overlap(a: &Observation, b: &Observation) -> bool {
    let (Some(a), Some(b)) = (&a.clock, &b.clock) else { return true };
    match (a.reading(), b.reading()) {
        (Some(a), Some(b)) => overlap(a, b),
        _ => false,
    }
}

fn overlap(a: ClockReading, b: ClockReading) -> bool {
    let (start_a, start_b) = (start(a), start(b));
    // How far clockwise one begins after the other. Arcs that only touch do not overlap, but a
    // point on the edge of an arc does.
    let after = |from: f64, to: f64| (to - from).rem_euclid(12.0);
    let within = |hours: f64, arc: f64, other: f64| {
        if other == 0.0 { hours <= arc } else { hours < arc || hours == 0.0 }
    };
    within(after(start_a, start_b), a.hours(), b.hours())
        || within(after(start_b, start_a), b.hours(), a.hours())
}

fn start(reading: ClockReading) -> f64 {
    match reading {
        ClockReading::Point(hour) | ClockReading::Arc(hour, _) => hour.get(),
    }
}

#[cfg(test)]
mod tests {
    use obvert_model::number::ClockHour;

    use super::*;

    fn arc(from: f64, to: f64) -> ClockReading {
        ClockReading::Arc(ClockHour::new(from).unwrap(), ClockHour::new(to).unwrap())
    }

    fn point(at: f64) -> ClockReading {
        ClockReading::Point(ClockHour::new(at).unwrap())
    }

    // Computed by hand on a clock face.
    #[test]
    fn parts_of_the_wall_meet() {
        let cases = [
            (arc(11.0, 1.0), arc(12.0, 2.0), true),
            (arc(11.0, 1.0), arc(1.0, 3.0), false),
            (arc(11.0, 1.0), arc(5.0, 7.0), false),
            (arc(9.0, 3.0), arc(11.0, 1.0), true),
            (arc(12.0, 12.0), arc(5.0, 7.0), true),
            (arc(11.0, 1.0), point(1.0), true),
            (arc(11.0, 1.0), point(1.5), false),
            (point(6.0), point(6.0), true),
            (point(6.0), point(6.5), false),
        ];
        for (a, b, expected) in cases {
            assert_eq!(overlap(a, b), expected, "{a:?} {b:?}");
            assert_eq!(overlap(b, a), expected, "{b:?} {a:?}");
        }
    }
}
