//! See the rule's documentation below.

use obvert_model::tables::OutcomeKind;

use crate::sink::Sink;
use crate::views::{Ending, RunSummary};

rule! {
    /// # What it checks
    /// A run has the outcome `met`, but the document has no other run through the same pipe.
    ///
    /// # Exceptions
    /// - The run has `reverse_of` (`reverse-mismatch`, `unknown-run`).
    /// - The document names a missing run in any table (`unknown-run`).
    ///
    /// # Exactly
    /// No other run has the same `pipe`, in either direction.
    ///
    /// # Why it matters
    /// The other half of the pipe was not delivered or never surveyed, while the outcome claims
    /// that all was seen.
    ///
    /// # Fails
    /// At `/runs/1/outcome/kind`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/1"}, {"op": "remove", "path": "/runs/1/reverse_of"}, {"op": "remove", "path": "/media/2"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/runs/1"}]
    /// ```
    ///
    /// # Fix
    /// Deliver both runs in one document, or correct the outcome.
    name: "met-run-missing", severity: Warning, scope: Ending, since: "0.1", clause: "runs#outcome",
    concludes_from: ["pipe.runs"],
    uses: [missing_runs],
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let met = |summary: &&RunSummary| summary.outcome() == Some(OutcomeKind::Met);
    for summary in ending.runs.iter().filter(met) {
        // A run in the same direction may be the other one, with a wrong direction; other rules
        // check that.
        let alone = ending.runs_of(&summary.run.pipe).all(|other| other.index == summary.index);
        if alone && summary.run.reverse_of.is_none() && !ending.refers_to_missing_run() {
            let pipe = summary.run.pipe.as_str();
            let message = format!(
                "the outcome is \"met\", but the document has no other run through {pipe:?}"
            );
            out.report(summary.subject("/outcome/kind"), message);
        }
    }
}
