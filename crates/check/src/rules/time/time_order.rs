//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::time::{in_future, seconds_between};
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run was finished before it was started.
    ///
    /// # Exceptions
    /// - `started` is in the future (`date-in-future`).
    ///
    /// # Exactly
    /// As instants.
    ///
    /// # Why it matters
    /// The run is filed under the wrong hour or day.
    ///
    /// # Fails
    /// At `/runs/0/finished`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T09:14:00-05:00"}]
    /// ```
    /// The same hour with another offset, at `/runs/0/finished`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T09:44:00-04:00"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T14:44:00Z"}]
    /// ```
    ///
    /// # Fix
    /// Correct the wrong time. Check morning and afternoon, midnight, and the offsets of the
    /// clocks.
    name: "time-order", severity: Error, scope: Run, since: "0.1", clause: "runs#time",
    facts: {
        "started" = DateTime "`started` of the run",
        "finished" = DateTime "`finished` of the run",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let (Some(started), Some(finished)) = (&run.run.started, &run.run.finished) else { return };
    if seconds_between(started, finished).is_some_and(|seconds| seconds < 0.0)
        && !in_future(run.survey, started)
    {
        let message =
            format!("the run was finished at {finished}, before it was started at {started}");
        out.report(run.subject("/finished"), message)
            .fact("started", started.as_str())
            .fact("finished", finished.as_str());
    }
}
