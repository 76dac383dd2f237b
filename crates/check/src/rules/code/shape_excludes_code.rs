//! See the rule's documentation below.

use obvert_model::tables::Shape;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A code that the code list keeps to certain shapes is recorded only where the pipe has one of them. A row that
    /// says that the shape changes counts from there on; the shape `other` excludes nothing.
    ///
    /// # Why it matters
    /// Ovality is a departure from the circle. Recorded for an egg-shaped pipe it is either the wrong code or the wrong
    /// shape, and the design of a lining would start from it.
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
    /// The run says that the shape changes before.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/code", "value": "deformation.oval"},
    ///  {"op": "replace", "path": "/pipes/0/shape", "value": "egg"},
    ///  {"op": "replace", "path": "/runs/0/observations/3/code", "value": "change.shape"},
    ///  {"op": "add", "path": "/runs/0/observations/3/characterisation", "value": ["circular"]}]
    /// ```
    ///
    /// # Fix
    /// Correct the code, or the pipe's shape; record a change of shape where the pipe changes.
    name: "shape-excludes-code", severity: Error, scope: Observation, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    uses: [cross_section],
    facts: {
        "shape" = Word "the shape of the pipe at the row",
        "shapes" = Words "the shapes that the code can be seen in, in the order of the code list",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code.filter(|code| !code.shapes.is_empty()) else { return };
    let Some(shape) = row.cross_section().shape.filter(|shape| *shape != Shape::Other) else { return };
    if !code.shapes.contains(&shape) {
        let only: Vec<&str> = code.shapes.iter().map(|shape| shape.as_str()).collect();
        let said = only.join(", ");
        out.report(
            row.subject("/code"),
            format!("{} can be seen in {said} pipes only, but the pipe is {shape} here", code.code),
        )
        .fact("shape", shape.as_str())
        .fact("shapes", only);
    }
}
