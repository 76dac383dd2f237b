//! See the rule's documentation below.

use obvert_model::lists::StretchUse;
use obvert_model::tables::Observation;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// Two stretches of one code and one characterisation do not overlap in a run, unless their clock references keep
    /// them apart. A stretch that has no clock reference overlaps any. Of the stretches begun before, the last 32 of the
    /// code are looked at. A code that is never recorded over a stretch is left to `stretch-not-allowed`.
    ///
    /// # Exactly
    /// Two stretches overlap along the pipe where each begins before the other ends. Their clock references meet where
    /// going clockwise from the beginning of one, the other begins before the one's end, or either way round; two arcs
    /// that only touch do not meet, a point on the edge of an arc does. A clock reference in neither form meets none. Only
    /// stretches whose `to` lies beyond `at` are looked at. The finding is at the later of the two, one for each later
    /// stretch; the other is the nearest one above it that it overlaps. One of rows that are repeated is left to
    /// `observation-duplicate`.
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
    facts: { "other" = Id "the first row" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    for (again, first) in run.overlapping_stretches().iter().filter(|(again, _)| !run.is_repeated(*again)) {
        let (row, other) = (run.row(*again), &run.run.observations[*first]);
        if row.code.is_some_and(|code| code.continuous == StretchUse::Never) {
            continue;
        }
        let say = |row: &Observation| format!("{} to {}", row.at, run.survey.say(row.end()));
        let (this, that) = (say(row.row), say(other));
        let code = row.row.code.as_str();
        out.report(row.subject(""), format!("{code:?} from {this} overlaps the one from {that}"))
            .fact("other", other.id.as_str());
    }
}
