//! See the rule's documentation below.

use obvert_model::tables::Shape;

use crate::sink::{Sink, Unless};
use crate::views::{RowView, changes};

rule! {
    /// # What it checks
    /// The code list restricts a code to certain shapes, and the pipe has another one there.
    /// Recorded changes of shape count.
    ///
    /// # Exceptions
    /// - The shape is `other`.
    /// - The run did not go through the whole pipe and records no change of shape, but another run
    ///   of the pipe does: this one may have begun in the other shape.
    ///
    /// # Exactly
    /// By the shape of the *cross-section* at the row (Code lists), if known.
    ///
    /// # Why it matters
    /// A lining would be designed for another pipe.
    ///
    /// # Fails
    /// At `/runs/0/observations/5/code`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/code", "value": "deformation.oval"},
    ///  {"op": "replace", "path": "/pipes/0/shape", "value": "egg"},
    ///  {"op": "add", "path": "/pipes/0/width", "value": 6}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/code", "value": "deformation.oval"}]
    /// ```
    /// The run records a change of shape before.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/code", "value": "deformation.oval"},
    ///  {"op": "replace", "path": "/pipes/0/shape", "value": "egg"},
    ///  {"op": "replace", "path": "/runs/0/observations/3/code", "value": "change.shape"},
    ///  {"op": "add", "path": "/runs/0/observations/3/characterisation", "value": ["circular"]}]
    /// ```
    /// The other end of the pipe is circular, by the run from there.
    /// ```json
    /// [{"op": "add", "path": "/runs/2/observations/1", "value":
    ///   {"id": "1a", "at": 20, "code": "deformation.oval", "quantities": [{"value": 1, "unit": "percent"}], "grades": {"structural": 2}}},
    ///  {"op": "replace", "path": "/pipes/1/shape", "value": "egg"}, {"op": "add", "path": "/pipes/1/width", "value": 6},
    ///  {"op": "add", "path": "/runs/1/observations/1", "value":
    ///   {"id": "1a", "at": 85, "code": "change.shape", "characterisation": ["circular"]}}]
    /// ```
    ///
    /// # Fix
    /// Correct the code or the pipe's shape, or record a change of shape where the pipe changes.
    name: "shape-excludes-code", severity: Error, scope: Observation, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    concludes_from: ["pipe.runs"],
    uses: [cross_section],
    facts: {
        "shape" = Word "the shape of the pipe at the row",
        "shapes" = Words "the shapes that the code is restricted to, in the order of the code list",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code.filter(|code| !code.shapes.is_empty()) else { return };
    let Some(shape) = row.cross_section().shape.filter(|shape| *shape != Shape::Other) else {
        return;
    };
    if !code.shapes.contains(&shape) {
        let only: Vec<&str> = code.shapes.iter().map(|shape| shape.as_str()).collect();
        let allowed = only.join(", ");
        let message =
            format!("{} occurs only in {allowed} pipes, but the pipe is {shape} here", code.code);
        let finding = if row.run.may_differ(changes::SHAPE) {
            let (pipe, subject) = (&row.run.run.pipe, row.subject("/code"));
            out.report_unless(Unless::changed(pipe, changes::SHAPE), subject, message)
        } else {
            out.report(row.subject("/code"), message)
        };
        finding.fact("shape", shape.as_str()).fact("shapes", only);
    }
}
