//! See the rule's documentation below.

use obvert_model::tables::{ClockReading, Observation};
use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// Two stretches of one code and one characterisation do not overlap in a run, unless their clock references keep
    /// them apart. A stretch that has no clock reference overlaps any. Of the stretches begun before, the last 32 of the
    /// code are looked at.
    ///
    /// # Exactly
    /// Two stretches overlap along the pipe where each begins before the other ends. Their clock references meet where
    /// going clockwise from the beginning of one, the other begins before the one's end, or either way round; two arcs
    /// that only touch do not meet, a point on the edge of an arc does. A clock reference in neither form meets none. The
    /// finding is at the later of the two.
    ///
    /// # Why it matters
    /// The same defect was entered twice, or the first was not closed where the second began; its length is counted
    /// twice.
    ///
    /// # Fails
    /// At `/runs/0/observations/4`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 40, "to": 60, "continuous": true,
    ///   "code": "crack.longitudinal", "clock": {"from": 12, "to": 2}, "grades": {"structural": 2}}}]
    /// ```
    ///
    /// # Passes
    /// One begins where the other ends.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 44.2, "to": 60, "continuous": true,
    ///   "code": "crack.longitudinal", "clock": {"from": 12, "to": 2}, "grades": {"structural": 2}}}]
    /// ```
    /// Another part of the wall.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 40, "to": 60, "continuous": true,
    ///   "code": "crack.longitudinal", "clock": {"from": 1, "to": 3}, "grades": {"structural": 2}}}]
    /// ```
    ///
    /// # Fix
    /// Keep one stretch over the whole length, or end the first where the second begins.
    name: "stretch-overlap", severity: Warning, scope: Run, since: "0.1", clause: "observations#stretches",
}

/// How many of the stretches of a code begun before are looked at, so that a run that is nothing but overlaps does not
/// take the square of its rows.
const LOOKED_AT: usize = 32;

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let stretch = |row: &Observation| row.to.is_some_and(|to| to > row.at);
    if run.run.observations.iter().filter(|row| stretch(row)).nth(1).is_none() {
        return;
    }
    let mut open: FxHashMap<&str, Vec<usize>> = FxHashMap::default();
    for row in run.rows().filter(|row| stretch(row.row)) {
        let before = open.entry(row.row.code.as_str()).or_default();
        let same = before.iter().rev().take(LOOKED_AT).map(|index| &run.run.observations[*index]);
        let twice = same.clone().find(|other| {
            other.at < row.row.end()
                && row.row.at < other.end()
                && other.characterisation == row.row.characterisation
                && clocks_meet(other, row.row)
        });
        if let Some(other) = twice {
            let say = |row: &Observation| format!("{} to {}", row.at, run.survey.say(row.end()));
            let (this, that) = (say(row.row), say(other));
            let code = row.row.code.as_str();
            out.report(row.spot(""), format!("{code:?} from {this} overlaps the one from {that}"))
                .fact("other", other.id.as_str());
        }
        before.push(row.index);
    }
}

/// Whether two rows are, or may be, on one part of the wall. A clock that is in no valid form says nothing.
fn clocks_meet(a: &Observation, b: &Observation) -> bool {
    let (Some(a), Some(b)) = (&a.clock, &b.clock) else { return true };
    match (a.reading(), b.reading()) {
        (Some(a), Some(b)) => meet(a, b),
        _ => false,
    }
}

fn meet(a: ClockReading, b: ClockReading) -> bool {
    let (start_a, start_b) = (start(a), start(b));
    // How far clockwise one begins after the other; arcs that only touch share no wall, but a point on an edge is on it.
    let after = |from: f64, to: f64| (to - from).rem_euclid(12.0);
    let within =
        |hours: f64, arc: f64, other: f64| if other == 0.0 { hours <= arc } else { hours < arc || hours == 0.0 };
    within(after(start_a, start_b), a.hours(), b.hours()) || within(after(start_b, start_a), b.hours(), a.hours())
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

    // By the dial of a clock; no other source.
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
            assert_eq!(meet(a, b), expected, "{a:?} {b:?}");
            assert_eq!(meet(b, a), expected, "{b:?} {a:?}");
        }
    }
}
