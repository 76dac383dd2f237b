//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_extent::direction_contradicts;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The direction of a run contradicts the structures that it names: a run downstream goes from
    /// the pipe's upstream structure to its downstream one.
    ///
    /// # Exactly
    /// A run downstream is `from` the pipe's `downstream` or `to` its `upstream`; a run upstream
    /// the reverse. A pipe with one structure at both ends contradicts nothing (`pipe-loop`).
    ///
    /// # Why it matters
    /// Distances are taken from the wrong end, and left and right are exchanged: a connection at 3
    /// o'clock is opened at 9.
    ///
    /// # Fails
    /// At `/runs/0/direction`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/direction", "value": "upstream"}]
    /// ```
    /// At `/runs/2/direction`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/from"}, {"op": "replace", "path": "/runs/2/to", "value": "LM-016"}]
    /// ```
    ///
    /// # Passes
    /// No structures.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/direction", "value": "upstream"},
    ///  {"op": "remove", "path": "/runs/0/from"}, {"op": "remove", "path": "/runs/0/to"}]
    /// ```
    /// A pipe with one structure at both ends has no direction.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/downstream", "value": "LM-014"}]
    /// ```
    ///
    /// # Fix
    /// Correct the direction, exchange `from` and `to`, or correct the ends of the pipe. If the
    /// direction was wrong, check the clock references too.
    name: "direction-contradicts", severity: Error, scope: Run, since: "0.1", clause: "runs#direction",
    facts: {
        "direction" = Word "the direction, as recorded",
        "upstream" = Id "the upstream structure of the pipe",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(view) = run.pipe else { return };
    if !direction_contradicts(view.pipe, run.run) {
        return;
    }
    let way = match (&run.run.from, &run.run.to) {
        (Some(from), Some(to)) => format!("from {:?} to {:?}", from.as_str(), to.as_str()),
        (Some(from), None) => format!("from {:?}", from.as_str()),
        (None, Some(to)) => format!("to {:?}", to.as_str()),
        (None, None) => return,
    };
    let upper = view.pipe.upstream.as_str();
    let direction = run.run.direction;
    let message = format!(
        "the direction is {direction}, but {way} is the other way: the pipe begins at {upper:?}"
    );
    out.report(run.subject("/direction"), message)
        .fact("direction", direction.as_str())
        .fact("upstream", upper);
}
