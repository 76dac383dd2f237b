//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_extent::exceeds;
use crate::support::time::{in_future, seconds_between};
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run lasted longer than the battery of a camera unit does.
    ///
    /// # Exceptions
    /// - `finished` is in the future (`date-in-future`).
    ///
    /// # Exactly
    /// By `started` and `finished`.
    ///
    /// # Why it matters
    /// The run was not closed when the camera came out, or a date is wrong.
    ///
    /// # Source
    /// Two to three hours of battery: common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/finished`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T19:44:00-05:00"}]
    /// ```
    ///
    /// # Passes
    /// Three hours is the limit.
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/finished", "value": "2026-05-06T13:48:00-05:00"}]
    /// ```
    ///
    /// # Fix
    /// Correct the wrong time, or explain it in the run's remark.
    name: "run-duration-implausible", severity: Warning, scope: Run, since: "0.1", clause: "runs#time",
    limits: {
        "limit" = 3.0 "h" "the longest run: two to three hours of battery, common practice, no published source",
    },
    facts: { "hours" = Hours "from `started` to `finished`" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let (Some(started), Some(finished)) = (&run.run.started, &run.run.finished) else { return };
    let Some(seconds) = seconds_between(started, finished) else { return };
    let (hours, limit) = (seconds / 3600.0, out.limit("limit"));
    if exceeds(hours, limit) && !in_future(run.survey, finished) {
        let took = (hours * 10.0).round() / 10.0;
        out.report(
            run.subject("/finished"),
            format!("the run took {took} h, longer than the usual maximum of {limit} h"),
        )
        .fact("hours", hours);
    }
}
