//! See the rule's documentation below.

use obvert_model::edit::Edit;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run does not state the distance of its last reading (`surveyed`).
    ///
    /// # Why it matters
    /// Payment, grades per length and the comparison with the pipe depend on the surveyed length.
    ///
    /// # Fails
    /// At `/runs/1`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/surveyed"}]
    /// ```
    ///
    /// # Passes
    /// A run that could not leave the structure states 0.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/surveyed", "value": 0}]
    /// ```
    ///
    /// # Fix
    /// Add `surveyed`: the counter's reading at the farthest point of the camera.
    name: "surveyed-missing", severity: Warning, scope: Run, since: "0.1", clause: "runs#ends",
    facts: { "finish" = Length "`at` of the closing row" if "there is one" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.run.surveyed.is_some() {
        return;
    }
    let finding = out.report(run.subject(""), "the run does not state how far it came");
    if let Some(closing) = run.closing_row() {
        finding.fact("finish", closing.row.at.get());
        let said = run.survey.format_length(closing.row.at);
        finding.help(format!("add `surveyed`; the closing row is at {said}"));
        let edits = vec![Edit::add(run.subject("/surveyed").path, closing.row.at.get())];
        finding.fix_if_confirmed(format!("the run came as far as its closing row, {said}"), edits);
    }
}
