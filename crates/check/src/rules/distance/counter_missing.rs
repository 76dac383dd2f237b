//! See the rule's documentation below.

use obvert_model::tables::Method;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// Every run says where its distance counter was set. A run with the `method` `pole` has none.
    ///
    /// # Why it matters
    /// Distances from the centre of the structure and distances from the pipe's end differ by half a manhole: the width
    /// of an excavation.
    ///
    /// # Source
    /// The zero point must be stated among the heads of an inspection: EN 13508-2, clause 7.1, as a training text quotes
    /// it. City of Sunny Isles Beach FL, Section 02762: the counter is set to zero at the start of each inspection.
    ///
    /// # Fails
    /// At `/runs/0`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/counter"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/counter"}, {"op": "replace", "path": "/runs/0/method", "value": "pole"}]
    /// ```
    ///
    /// # Fix
    /// Add `counter` with the point where it was set, and what it showed there if that was not 0.
    name: "counter-missing", severity: Warning, scope: Run, since: "0.1", clause: "runs#counter",
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.run.counter.is_none() && run.run.method != Some(Method::Pole) {
        out.report(run.subject(""), "nothing says where the distance counter was set");
    }
}
