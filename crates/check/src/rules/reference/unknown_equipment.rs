//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// Every piece of equipment that a run names is in the table of equipment.
    /// However many rows name one that is missing, that is one finding.
    ///
    /// # Why it matters
    /// When a counter turns out to have drifted, its serial number tells which other runs to measure again.
    ///
    /// # Fails
    /// At `/runs/0/equipment/1`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/equipment/1", "value": "E-3"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/equipment"}]
    /// ```
    ///
    /// # Fix
    /// Correct the id, or add the equipment to the table.
    name: "unknown-equipment", severity: Error, scope: Run, since: "0.1", clause: "equipment#references",
    refers_to: "equipment",
    facts: {
        "id" = Id "the id that no row has; where the table has no row at all, the first that is named",
        "rows" = Count "how many rows name it; where the table has no row at all, how many name any",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let survey = run.survey;
    for (index, id) in run.run.equipment.iter().enumerate() {
        if !survey.knows_equipment(id) {
            let subject = || run.subject(&format!("/equipment/{index}"));
            out.unknown("equipment", id, survey.head.equipment.iter().map(|row| row.id.as_str()), subject);
        }
    }
}
