//! See the rule's documentation below.

use obvert_model::tables::MaterialClass;

use crate::sink::{Sink, Unless};
use crate::support::foreign_wall;
use crate::views::{RowView, changes};

rule! {
    /// # What it checks
    /// The code list restricts a code to certain materials, and the pipe is of another one there.
    /// Recorded changes of material count.
    ///
    /// # Exceptions
    /// - The pipe is lined, so the camera sees the lining.
    /// - The material is `other`.
    /// - The row is in a lining that the run records (`lining.start`, `lining.finish`), or within 3
    ///   m of a repair or a defect of a lining that it records, or within the stretch of one: the
    ///   wall may be of another material there.
    /// - The run did not go through the whole pipe and records no change of material, but another
    ///   run of the pipe does: this one may have begun in the other material.
    ///
    /// # Exactly
    /// By the class of the *cross-section* at the row (Code lists), if known. Any `lining` counts.
    ///
    /// # Why it matters
    /// The grade and the repair would be those of another pipe.
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
    /// The run records a change of material before.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/code", "value": "brick.missing"},
    ///  {"op": "replace", "path": "/runs/0/observations/4/code", "value": "note.photo"},
    ///  {"op": "replace", "path": "/runs/0/observations/3/code", "value": "change.material"},
    ///  {"op": "add", "path": "/runs/0/observations/3/characterisation", "value": ["masonry"]}]
    /// ```
    /// In a piece that was replaced.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5", "value":
    ///   {"id": "6", "at": 120, "code": "deformation.dent", "clock": {"at": 3}, "grades": {"structural": 2}}},
    ///  {"op": "add", "path": "/runs/0/observations/5", "value": {"id": "5a", "at": 118, "to": 130, "continuous": true, "code": "repair.replaced"}}]
    /// ```
    /// The other end of the pipe is of that material, by the run from there.
    /// ```json
    /// [{"op": "add", "path": "/runs/2/observations/1", "value":
    ///   {"id": "1a", "at": 20, "code": "deformation.dent", "clock": {"at": 3}, "grades": {"structural": 2}}},
    ///  {"op": "add", "path": "/runs/1/observations/1", "value":
    ///   {"id": "1a", "at": 85, "code": "change.material", "characterisation": ["plastic"]}}]
    /// ```
    /// The pipe is lined.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/code", "value": "brick.missing"},
    ///  {"op": "add", "path": "/pipes/0/lining", "value": "sprayed mortar"}]
    /// ```
    ///
    /// # Fix
    /// Correct the code or the pipe's material, or record a change of material where the pipe
    /// changes.
    name: "material-excludes-code", severity: Error, scope: Observation, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    concludes_from: ["pipe.lining", "pipe.runs"],
    uses: [cross_section],
    facts: {
        "material" = Word "the class of the pipe's material at the row",
        "materials" = Words "the classes that the code is restricted to, in the order of the code list",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code.filter(|code| !code.materials.is_empty()) else { return };
    if row.run.pipe.is_some_and(|view| view.pipe.lining.is_some()) {
        return;
    }
    let Some(class) = row.cross_section().class.filter(|class| *class != MaterialClass::Other)
    else {
        return;
    };
    if !code.materials.contains(&class) && !foreign_wall::at(row) {
        let only: Vec<&str> = code.materials.iter().map(|class| class.as_str()).collect();
        let allowed = only.join(", ");
        let message =
            format!("{} occurs only in {allowed}, but the pipe is of {class} here", code.code);
        let finding = if row.run.may_differ(changes::MATERIAL) {
            let (pipe, subject) = (&row.run.run.pipe, row.subject("/code"));
            out.report_unless(Unless::changed(pipe, changes::MATERIAL), subject, message)
        } else {
            out.report(row.subject("/code"), message)
        };
        finding.fact("material", class.as_str()).fact("materials", only);
    }
}
