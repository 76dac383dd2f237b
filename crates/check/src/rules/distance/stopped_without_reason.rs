//! See the rule's documentation below.

use obvert_model::tables::OutcomeKind;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run that was given up says why, in its outcome or in the characterisation of its closing row. Without the code
    /// list, which says what row closes a run, only the outcome is looked at.
    ///
    /// # Why it matters
    /// The owner decides by the reason what comes next: dig for a collapse, cut roots, come back at low water. Without it
    /// the pipe is driven again to find out.
    ///
    /// # Fails
    /// At `/runs/1/outcome`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/outcome/reason"},
    ///  {"op": "remove", "path": "/runs/1/observations/2/characterisation"}]
    /// ```
    ///
    /// # Passes
    /// The closing row has it.
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
    let told = || run.closing_row().is_some_and(|row| !row.row.characterisation.is_empty());
    if outcome.kind == OutcomeKind::Stopped && outcome.reason.is_none() && !told() {
        out.report(run.subject("/outcome"), "the run was given up, and nothing says why");
    }
}
