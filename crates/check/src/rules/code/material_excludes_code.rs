//! See the rule's documentation below.

use obvert_model::tables::MaterialClass;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A code that the code list keeps to certain materials is recorded only where the pipe is of one of them. A row
    /// that says that the material changes counts from there on.
    ///
    /// The rule stands back in a lined pipe, where the camera sees the lining, and in a pipe of material `other`, which
    /// can be anything.
    ///
    /// # Why it matters
    /// Missing bricks in a plastic pipe are a slip of the hand or a wrong material in the owner's record. Either way the
    /// grade and the repair that follow would be for another pipe.
    ///
    /// # Fails
    /// At `/runs/0/observations/5/code`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/code", "value": "brick.missing"}]
    /// ```
    ///
    /// # Passes
    /// The pipe is of brick.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/code", "value": "brick.missing"},
    ///  {"op": "replace", "path": "/runs/0/observations/4/code", "value": "note.photo"},
    ///  {"op": "replace", "path": "/pipes/0/material", "value": "brick"}]
    /// ```
    /// The run says that the material changes before.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/code", "value": "brick.missing"},
    ///  {"op": "replace", "path": "/runs/0/observations/4/code", "value": "note.photo"},
    ///  {"op": "replace", "path": "/runs/0/observations/3/code", "value": "change.material"},
    ///  {"op": "add", "path": "/runs/0/observations/3/characterisation", "value": ["masonry"]}]
    /// ```
    /// The pipe is lined.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/code", "value": "brick.missing"},
    ///  {"op": "add", "path": "/pipes/0/lining", "value": "sprayed mortar"}]
    /// ```
    ///
    /// # Fix
    /// Correct the code, or the pipe's material; record a change of material where the pipe changes.
    name: "material-excludes-code", severity: Error, scope: Observation, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    concludes_from: ["pipe.lining"],
    uses: [cross_section],
    facts: {
        "material" = Word "the class of the material of the pipe at the row",
        "materials" = Words "the classes that the code can be seen in, in the order of the code list",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code.filter(|code| !code.materials.is_empty()) else { return };
    if row.run.pipe.is_some_and(|view| view.pipe.lining.is_some()) {
        return;
    }
    let Some(class) = row.cross_section().class.filter(|class| *class != MaterialClass::Other) else { return };
    if !code.materials.contains(&class) {
        let only: Vec<&str> = code.materials.iter().map(|class| class.as_str()).collect();
        let said = only.join(", ");
        out.report(
            row.subject("/code"),
            format!("{} can be seen in {said} only, but the pipe is of {class} here", code.code),
        )
        .fact("material", class.as_str())
        .fact("materials", only);
    }
}
