//! See the rule's documentation below.

use jiff::{SignedDuration, Timestamp};
use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::support::cameras::cameras;
use crate::support::time::{instant, run_span};
use crate::views::{Ending, RunSummary};

rule! {
    /// # What it checks
    /// The time of a run is twelve hours off: moved by twelve hours, it fits among the other runs
    /// of its crew, and as it is, it does not.
    ///
    /// # Exceptions
    /// - Fewer than two other runs of the crew are within 18 hours of it.
    /// - `started` is missing.
    ///
    /// # Exactly
    /// A crew is the runs with one `operator`, or without one those with one camera. *Others* are
    /// the other runs of the crew that started within 18 hours of the run. Moved by twelve hours
    /// either way, the run overlaps none of them, and one of these holds:
    ///
    /// - In the order of the document the others never start earlier than the one before, and the
    ///   run breaks that order as it is, and does not when moved. As it is, it is more than half of
    ///   `gap` from all of them, and farther than when moved.
    /// - There are three others or more, the run is more than `gap` from all of them as it is, and
    ///   lies between the first start and the last end of them when moved.
    ///
    /// # Why it matters
    /// The hour was entered without am or pm. The report shows a run in the night, and the pictures
    /// taken then are not found.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/1/started`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/started", "value": "2026-05-06T22:05:00-05:00"}, {"op": "replace", "path": "/runs/1/finished", "value": "2026-05-06T22:12:00-05:00"}]
    /// ```
    ///
    /// # Passes
    /// Work at night, over midnight.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/started", "value": "2026-05-05T22:31:00-05:00"}, {"op": "replace", "path": "/runs/0/finished", "value": "2026-05-05T22:44:00-05:00"},
    ///  {"op": "replace", "path": "/runs/1/started", "value": "2026-05-05T23:55:00-05:00"}, {"op": "replace", "path": "/runs/1/finished", "value": "2026-05-06T00:02:00-05:00"},
    ///  {"op": "replace", "path": "/runs/2/started", "value": "2026-05-06T01:48:00-05:00"}, {"op": "replace", "path": "/runs/2/finished", "value": "2026-05-06T01:55:00-05:00"}]
    /// ```
    /// Called out in the evening.
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/started", "value": "2026-05-06T22:48:00-05:00"}, {"op": "replace", "path": "/runs/2/finished", "value": "2026-05-06T22:55:00-05:00"}]
    /// ```
    ///
    /// # Fix
    /// Look up the time in the video or in the crew's notes, and correct it.
    name: "time-of-day-shifted", severity: Warning, scope: Ending, since: "0.1", clause: "runs#time",
    concludes_from: ["runs", "runs.started", "runs.finished", "runs.operator", "runs.equipment"],
    limits: {
        "gap" = 6.0 "h" "longest break of a crew in one shift; common practice, no published source",
    },
    facts: {
        "started" = DateTime "`started`, as recorded",
        "others" = Count "other runs of the crew within 18 hours",
    },
}

/// A run with its time and its place in the document.
#[derive(Clone, Copy)]
struct Timed<'d> {
    summary: &'d RunSummary,
    from: Timestamp,
    to: Timestamp,
}

impl Timed<'_> {
    /// How long before or after the nearest of other runs it was made.
    fn away(&self, others: &[Timed<'_>]) -> SignedDuration {
        let between = |other: &Timed<'_>| {
            let (before, after) =
                (other.from.duration_since(self.to), self.from.duration_since(other.to));
            before.max(after).max(SignedDuration::ZERO)
        };
        others.iter().map(between).min().unwrap_or(SignedDuration::ZERO)
    }
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let gap = SignedDuration::try_from_secs_f64(out.limit("gap") * 3600.0).unwrap_or_default();
    let mut crews: FxHashMap<String, Vec<Timed<'_>>> = FxHashMap::default();
    for summary in ending.runs {
        let run = &summary.run;
        let Some(started) = run.started.as_ref().and_then(instant) else { continue };
        let (from, to) = run_span(run).unwrap_or((started, started));
        let camera = || cameras(ending.survey, run).next().map(|camera| format!("/{camera}"));
        let crew = run.operator.as_ref().map(ToString::to_string).or_else(camera);
        if let Some(crew) = crew {
            crews.entry(crew).or_default().push(Timed { summary, from, to });
        }
    }
    let mut found: Vec<(&RunSummary, usize)> =
        crews.values().flat_map(|crew| odd(crew, gap)).collect();
    found.sort_by_key(|(summary, _)| summary.index);
    for (summary, others) in found {
        let Some(started) = summary.started() else { continue };
        let message = format!(
            "started at {started}, but twelve hours off it would fit among the {others} other runs of the crew"
        );
        out.report(summary.subject("/started"), message)
            .fact("started", started.as_str())
            .fact("others", others);
    }
}

/// The runs of a crew whose time is twelve hours off, each with the number of others.
fn odd<'d>(crew: &[Timed<'d>], gap: SignedDuration) -> Vec<(&'d RunSummary, usize)> {
    let mut by_time: Vec<Timed<'d>> = crew.to_vec();
    by_time.sort_by_key(|run| (run.from, run.summary.index));
    let near = SignedDuration::from_hours(18);
    let mut found = Vec::new();
    for run in crew {
        let first = by_time.partition_point(|other| other.from < run.from - near);
        let others = by_time[first..].iter().take_while(|other| other.from <= run.from + near);
        let mut others: Vec<Timed<'d>> =
            others.filter(|other| other.summary.index != run.summary.index).copied().collect();
        others.sort_by_key(|other| other.summary.index);
        let half_day = SignedDuration::from_hours(12);
        let fits = [half_day, -half_day].iter().any(|shift| {
            let moved = Timed { from: run.from + *shift, to: run.to + *shift, ..*run };
            fits(run, &moved, &others, gap)
        });
        if others.len() >= 2 && fits {
            found.push((run.summary, others.len()));
        }
    }
    found
}

/// Whether a run fits among the others of its crew when it is moved, and not as it is.
fn fits(run: &Timed<'_>, moved: &Timed<'_>, others: &[Timed<'_>], gap: SignedDuration) -> bool {
    if others.iter().any(|other| other.from < moved.to && moved.from < other.to) {
        return false;
    }
    let in_order = others.windows(2).all(|pair| pair[0].from <= pair[1].from);
    let split = others.partition_point(|other| other.summary.index < run.summary.index);
    let ordered = |run: &Timed<'_>| {
        others[..split].iter().all(|other| other.from <= run.from)
            && others[split..].iter().all(|other| run.from <= other.from)
    };
    let (away, moved_away) = (run.away(others), moved.away(others));
    if in_order && !ordered(run) && ordered(moved) && away > gap / 2 && away > moved_away {
        return true;
    }
    let first = others.iter().map(|other| other.from).min();
    let last = others.iter().map(|other| other.to).max();
    let within =
        first.is_some_and(|first| first < moved.from) && last.is_some_and(|last| moved.to < last);
    others.len() >= 3 && away > gap && within
}
