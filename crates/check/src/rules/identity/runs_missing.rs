//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// The document has no run.
    ///
    /// # Why it matters
    /// A survey without runs is a list of pipes. Most often an export or a filter dropped them.
    ///
    /// # Fails
    /// At ``:
    /// ```json
    /// [{"op": "remove", "path": "/runs"}, {"op": "remove", "path": "/media"}, {"op": "remove", "path": "/locates"},
    ///  {"op": "remove", "path": "/ratings"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/runs/2"}]
    /// ```
    ///
    /// # Fix
    /// Add the runs, or check the export.
    name: "runs-missing", severity: Warning, scope: Ending, since: "0.1", clause: "runs#identity",
    concludes_from: ["runs"],
    facts: { "pipes" = Count "pipes of the document" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if ending.runs.is_empty() {
        let pipes = ending.survey.head.pipes.len();
        let what = if pipes == 0 { "no pipe and no run" } else { "no run" };
        out.report(Subject::at(""), format!("the survey has {what}")).fact("pipes", pipes);
    }
}
