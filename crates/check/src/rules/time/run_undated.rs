//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run does not state when it was started.
    ///
    /// # Why it matters
    /// The age of a survey decides whether it is accepted, and which of two is newer.
    ///
    /// # Source
    /// The date is mandatory header information of EN 13508-2, clause 7.1, as a public training
    /// text cites it.
    ///
    /// # Fails
    /// At `/runs/1`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/started"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/finished"}]
    /// ```
    ///
    /// # Fix
    /// Add `started`; the video or the recorder has it.
    name: "run-undated", severity: Warning, scope: Run, since: "0.1", clause: "runs#time",
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.run.started.is_none() {
        out.report(run.subject(""), "the run does not state when it was started");
    }
}
