//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The observations of a run stand in order of distance: none lies before the one above it.
    ///
    /// # Why it matters
    /// A row that falls back was typed wrongly, or the camera was drawn back and the row entered late. Whoever reads
    /// the run as a line along the pipe meets a defect in the wrong place, or twice.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 5}]
    /// ```
    ///
    /// # Passes
    /// Two observations at one distance are in order.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/at", "value": 12.4}]
    /// ```
    ///
    /// # Fix
    /// Sort the rows by distance if they were entered late; correct the distance if it was typed wrongly.
    name: "distance-falls", severity: Error, scope: Run, since: "0.1", clause: "observations#order",
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    for (before, row) in run.rows().zip(run.rows().skip(1)) {
        if row.row.at < before.row.at {
            let (at, was) = (run.survey.say(row.row.at), run.survey.say(before.row.at));
            out.report(row.spot("/at"), format!("the distance falls back from {was} to {at}"))
                .fact("at", row.row.at.get())
                .fact("before", before.row.at.get());
        }
    }
}
