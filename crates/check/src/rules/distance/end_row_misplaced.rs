//! See the rule's documentation below.

use obvert_model::lists::Role;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A row that starts, finishes or stops the run lies between the run's first and last rows.
    ///
    /// # Exceptions
    /// - The run is disordered, or its counter was probably reset (`counter-reset`).
    /// - The start row or the closing row is missing (`start-missing`, `finish-missing`).
    ///
    /// # Exactly
    /// - With a start row: a row of the role `start` lies beyond the first row.
    /// - With a closing row: a row of the role `finish` or `stopped` lies before the last row.
    ///
    /// # Why it matters
    /// Two runs were entered as one, and the second has another zero point.
    ///
    /// # Fails
    /// At `/runs/0/observations/4`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 60, "code": "run.start"}}]
    /// ```
    /// At `/runs/0/observations/4`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 60, "code": "run.stopped", "characterisation": ["roots"]}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/7", "value": {"id": "7a", "at": 200, "code": "access.manhole"}}]
    /// ```
    ///
    /// # Fix
    /// Split the run in two, each with its own counter, or remove the row.
    name: "end-row-misplaced", severity: Error, scope: Run, since: "0.1", clause: "runs#ends",
    needs: [Codes],
    facts: { "code" = Code "the code of the row" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let rows = &run.run.observations;
    let (Some(first), Some(last)) = (rows.first(), rows.last()) else { return };
    let marks = run.marks();
    if run.disordered() || marks.counter_reset {
        return;
    }
    for row in run.rows() {
        let (misplaced, what) = match row.role() {
            Some(Role::Start) => (marks.start.is_some() && row.row.at > first.at, "starts"),
            Some(Role::Finish) => (marks.finish.is_some() && row.row.at < last.at, "finishes"),
            Some(Role::Stopped) => (marks.finish.is_some() && row.row.at < last.at, "stops"),
            _ => continue,
        };
        if misplaced {
            let [at, from, to] =
                [row.row.at, first.at, last.at].map(|at| run.survey.format_length(at));
            let message = format!("the run {what} at {at}, but its rows go from {from} to {to}");
            out.report(row.subject(""), message).fact("code", row.row.code.as_str());
        }
    }
}
