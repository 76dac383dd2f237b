//! See the rule's documentation below.

use obvert_model::tables::Shape;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// The code list restricts a code to certain shapes, and the pipe has another one there.
    /// Recorded changes of shape count.
    ///
    /// # Exceptions
    /// - The shape is `other`.
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
    ///
    /// # Fix
    /// Correct the code or the pipe's shape, or record a change of shape where the pipe changes.
    name: "shape-excludes-code", severity: Error, scope: Observation, since: "0.1", clause: "observations#codes",
    needs: [Codes],
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
        out.report(
            row.subject("/code"),
            format!("{} occurs only in {allowed} pipes, but the pipe is {shape} here", code.code),
        )
        .fact("shape", shape.as_str())
        .fact("shapes", only);
    }
}
