//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// A pipe has neither a structure at its lower end (`downstream`) nor a pipe that it joins
    /// (`joins`), or has both.
    ///
    /// # Why it matters
    /// A pipe without a lower end, or with two, cannot be placed in a network.
    ///
    /// # Fails
    /// At `/pipes/0`:
    /// ```json
    /// [{"op": "remove", "path": "/pipes/0/downstream"}]
    /// ```
    /// At `/pipes/0/joins`:
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/joins", "value": {"pipe": "L-102", "at": 60}}]
    /// ```
    ///
    /// # Passes
    /// A lateral.
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-101-1", "upstream": "C-7", "joins": {"pipe": "L-101", "at": 60}}}]
    /// ```
    ///
    /// # Fix
    /// Name the structure at its lower end, or the pipe that it joins.
    name: "pipe-ends", severity: Error, scope: Pipe, since: "0.1", clause: "pipes#ends",
    facts: {
        "downstream" = Id "the structure" if "the pipe has two lower ends",
        "joins" = Id "the pipe that it joins" if "the pipe has two lower ends",
    },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    match (&view.pipe.downstream, &view.pipe.joins) {
        (None, None) => {
            out.report(
                view.subject(""),
                "the pipe has no lower end: neither `downstream` nor `joins`",
            );
        }
        (Some(structure), Some(joins)) => {
            let (structure, pipe) = (structure.as_str(), joins.pipe.as_str());
            let message = format!(
                "the pipe ends both at the structure {structure:?} and in the pipe {pipe:?}"
            );
            out.report(view.subject("/joins"), message)
                .fact("downstream", structure)
                .fact("joins", pipe);
        }
        _ => {}
    }
}
