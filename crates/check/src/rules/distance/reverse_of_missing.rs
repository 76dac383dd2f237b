//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::tables::OutcomeKind;

use crate::sink::Sink;
use crate::views::{Ending, RunSummary};

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
        let edits = vec![Edit::add(summary.subject("/reverse_of").path, id)];
        out.report(summary.subject(""), message)
            .fact("other", id)
            .fix_if_confirmed(format!("the run completes {id:?}"), edits);
    }
}
