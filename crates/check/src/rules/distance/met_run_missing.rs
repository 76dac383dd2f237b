//! See the rule's documentation below.

use obvert_model::tables::OutcomeKind;

use crate::sink::Sink;
use crate::views::{Ending, RunSummary};

rule! {
    /// # What it checks
    /// A run whose outcome is `met` met another: the document has another run through the same pipe. A run with a
    /// `reverse_of` is left to `reverse-mismatch` and `unknown-run`, and so is a document that names, in any table, a run
    /// that is missing.
    ///
    /// # Why it matters
    /// The other half of the pipe is missing from the delivery, or was never driven, while the outcome says that all
    /// was seen.
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
        // Another run in the same direction may be the one, with a direction that is wrong: other rules look at that.
        let alone = ending.runs_of(&summary.run.pipe).all(|other| other.index == summary.index);
        if alone && summary.run.reverse_of.is_none() && !ending.misses_a_run() {
            let pipe = summary.run.pipe.as_str();
            let message = format!("the run is said to have met another, but no other run went through {pipe:?}");
            out.report(summary.subject("/outcome/kind"), message);
        }
    }
}
