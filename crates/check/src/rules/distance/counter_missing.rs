//! See the rule's documentation below.

use obvert_model::tables::Method;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run does not state where its distance counter was set.
    ///
    /// # Exceptions
    /// - The `method` is `pole`.
    ///
    /// # Exactly
    /// `counter` is absent.
    ///
    /// # Why it matters
    /// Distances from a manhole's centre and from the pipe's end differ by half a manhole: the
    /// width of an excavation.
    ///
    /// # Source
    /// The header of an inspection states the zero point: EN 13508-2, clause 7.1, as quoted by a
    /// training text. The counter is zeroed at the start of each inspection: City of Sunny Isles
    /// Beach FL, Section 02762.
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
    /// Add `counter` with the zero point, and with `reads` if it did not show 0 there.
    name: "counter-missing", severity: Warning, scope: Run, since: "0.1", clause: "runs#counter",
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.run.counter.is_none() && run.run.method != Some(Method::Pole) {
        out.report(run.subject(""), "the run does not state where its distance counter was set");
    }
}
