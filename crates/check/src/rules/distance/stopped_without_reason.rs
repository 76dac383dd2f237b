//! See the rule's documentation below.

use obvert_model::tables::OutcomeKind;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run was stopped, but neither its outcome nor its closing row gives the reason.
    ///
    /// # Exceptions
    /// - The run is disordered (`distance-decreases`).
    ///
    /// # Exactly
    /// Any characterisation of the closing row counts. Without the code list only the outcome is
    /// checked.
    ///
    /// # Why it matters
    /// The reason decides what comes next: dig for a collapse, cut roots, or come back at low
    /// water.
    ///
    /// # Fails
    /// At `/runs/1/outcome`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/outcome/reason"},
    ///  {"op": "remove", "path": "/runs/1/observations/2/characterisation"}]
    /// ```
    ///
    /// # Passes
    /// The closing row gives it.
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/outcome/reason"}]
    /// ```
    /// The rows are in reverse order.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "stopped"}},
    ///  {"op": "add", "path": "/runs/1/observations/-", "value": {"id": "4", "at": 0, "code": "run.start"}},
    ///  {"op": "replace", "path": "/runs/1/observations/0/at", "value": 90}]
    /// ```
    ///
    /// # Fix
    /// Add the reason to the outcome.
    name: "stopped-without-reason", severity: Warning, scope: Run, since: "0.1", clause: "runs#outcome",
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(outcome) = &run.run.outcome else { return };
    let in_row = || run.closing_row().is_some_and(|row| !row.row.characterisation.is_empty());
    // Which row of a disordered run closes it is not known.
    if outcome.kind == OutcomeKind::Stopped
        && outcome.reason.is_none()
        && !run.disordered()
        && !in_row()
    {
        out.report(run.subject("/outcome"), "the run was stopped, but no reason is given");
    }
}
