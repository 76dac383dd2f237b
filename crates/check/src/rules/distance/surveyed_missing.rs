//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::number::Length;
use obvert_model::tables::OutcomeKind;

use crate::sink::Sink;
use crate::support::row_order;
use crate::support::run_extent::pipe_with_length;
use crate::views::{RunView, tolerance};

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
        let end = run.survey.format_length(closing.row.at);
        finding.help(format!("add `surveyed`; the closing row is at {end}"));
        if row_order::in_order(run, closing.index) && agrees_with_pipe(run, closing.row.at) {
            let edits = vec![Edit::add(run.subject("/surveyed").path, closing.row.at.get())];
            finding
                .fix_if_confirmed(format!("the run came as far as its closing row, {end}"), edits)
                .resting_on([closing.subject("").path]);
        }
    }
}

/// Whether a distance can be the end of the run: it is no farther than the pipe is long, and no
/// shorter if the run reached the far structure. A pipe of unknown length contradicts nothing.
fn agrees_with_pipe(run: &RunView<'_>, at: Length) -> bool {
    let Some((_, length)) = pipe_with_length(run.survey, run.run) else { return true };
    let offset = run.run.counter.as_ref().and_then(|counter| counter.offset);
    let travelled = (at.get() - run.reads()) * run.survey.head.units.length.metres();
    let far = offset.map_or(0.0, |offset| run.survey.metres(offset)) + travelled;
    let reached =
        run.run.outcome.as_ref().is_some_and(|outcome| outcome.kind == OutcomeKind::Reached);
    let slack = 2.0 * tolerance(length);
    far <= length + slack && (!reached || far >= length - slack)
}
