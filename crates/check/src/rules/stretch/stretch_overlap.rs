//! See the rule's documentation below.

use obvert_model::lists::StretchUse;
use obvert_model::tables::Observation;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// Two stretches of a run with the same code and characterisation overlap along the pipe and on
    /// the wall.
    ///
    /// # Exceptions
    /// - The code applies at a single point only (`stretch-not-allowed`).
    /// - The later row is *repeated* (`observation-duplicate`).
    ///
    /// # Exactly
    /// - Only stretches with `to` > `at` are compared. Each is compared with the last 32 of its
    ///   code above it in the list.
    /// - They overlap along the pipe if each begins before the other ends.
    /// - They overlap on the wall if one has no clock reference, or if, clockwise from the start of
    ///   either, the other starts before its end. Arcs that only touch do not overlap; a point on
    ///   the edge of an arc does. A clock reference in neither of its two forms overlaps nothing.
    /// - There is one finding for each later stretch, at its row; `other` is the nearest stretch
    ///   above it that it overlaps.
    ///
    /// # Why it matters
    /// The length of the defect is counted twice.
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
    facts: { "other" = Id "the earlier row" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    for (later, earlier) in
        run.overlapping_stretches().iter().filter(|(later, _)| !run.is_repeated(*later))
    {
        let (row, other) = (run.row(*later), &run.run.observations[*earlier]);
        if row.code.is_some_and(|code| code.continuous == StretchUse::Never) {
            continue;
        }
        let extent =
            |row: &Observation| format!("{} to {}", row.at, run.survey.format_length(row.end()));
        let (this, that) = (extent(row.row), extent(other));
        let code = row.row.code.as_str();
        out.report(row.subject(""), format!("{code:?} from {this} overlaps the one from {that}"))
            .fact("other", other.id.as_str());
    }
}
