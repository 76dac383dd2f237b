//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::tables::OutcomeKind;

use crate::sink::Sink;
use crate::support::run_extent::{far_position, pipe_with_length};
use crate::views::{Ending, RunSummary, tolerance};

rule! {
    /// # What it checks
    /// A run has the outcome `met` and no `reverse_of`, and the run that it met does not name it.
    ///
    /// # Exactly
    /// No other run of the pipe names the run in `reverse_of`, and another run of the pipe has the
    /// other direction. The finding names the first such run in the table.
    ///
    /// # Why it matters
    /// The two halves of the pipe are not joined.
    ///
    /// # Fails
    /// At `/runs/2`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/reverse_of"}]
    /// ```
    ///
    /// # Passes
    /// The first run names the second.
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/reverse_of"}, {"op": "add", "path": "/runs/1/reverse_of", "value": "R-102R"}]
    /// ```
    ///
    /// # Fix
    /// Name the run that this one completes.
    name: "reverse-of-missing", severity: Note, scope: Ending, since: "0.1", clause: "runs#reverse-runs",
    facts: { "other" = Id "the first run through the pipe in the other direction" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let met = |summary: &&RunSummary| {
        summary.outcome() == Some(OutcomeKind::Met) && summary.run.reverse_of.is_none()
    };
    for summary in ending.runs.iter().filter(met) {
        let run = &summary.run;
        let others = || ending.runs_of(&run.pipe).filter(|other| other.index != summary.index);
        if others().any(|other| other.run.reverse_of.as_ref() == Some(&run.id)) {
            continue;
        }
        let Some(other) = others().find(|other| other.run.direction != run.direction) else {
            continue;
        };
        let id = other.run.id.as_str();
        let message =
            format!("the run met another but has no `reverse_of`; {id:?} came from the other end");
        let only = others().filter(|other| other.run.direction != run.direction).count() == 1;
        let finding = out.report(summary.subject(""), message).fact("other", id);
        if only && fill_pipe(ending, summary, other) {
            let edits = vec![Edit::add(summary.subject("/reverse_of").path, id)];
            finding.fix_if_confirmed(format!("the run completes {id:?}"), edits).resting_on([
                summary.subject("/outcome").path,
                summary.subject("/surveyed").path,
                other.subject("/surveyed").path,
            ]);
        }
    }
}

/// Whether two runs from opposite ends met: the other one did not reach the far structure, and
/// together they are as long as the pipe.
fn fill_pipe(ending: &Ending<'_>, one: &RunSummary, other: &RunSummary) -> bool {
    let far =
        |summary: &RunSummary| far_position(ending.survey, &summary.run, summary.figures.marks);
    let Some((_, length)) = pipe_with_length(ending.survey, &one.run) else { return false };
    let (Some(first), Some(second)) = (far(one), far(other)) else { return false };
    other.outcome() != Some(OutcomeKind::Reached)
        && (first + second - length).abs() <= 2.0 * tolerance(length)
}
