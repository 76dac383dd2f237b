//! See the rule's documentation below.

use obvert_model::tables::OutcomeKind;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run was stopped, but neither its outcome nor its closing row gives the reason.
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
    ///
    /// # Fix
    /// Add the reason to the outcome.
    name: "stopped-without-reason", severity: Warning, scope: Run, since: "0.1", clause: "runs#outcome",
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(outcome) = &run.run.outcome else { return };
    let in_row = || run.closing_row().is_some_and(|row| !row.row.characterisation.is_empty());
    if outcome.kind == OutcomeKind::Stopped && outcome.reason.is_none() && !in_row() {
        out.report(run.subject("/outcome"), "the run was stopped, but no reason is given");
    }
}
