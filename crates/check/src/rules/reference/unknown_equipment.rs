//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run names equipment that is not in the equipment table. One finding for each missing id.
    ///
    /// # Why it matters
    /// When a counter has drifted, its serial number tells which other runs to measure again.
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
        "id" = Id "the missing id; if the table is empty, the first one named",
        "rows" = Count "how many rows name it; if the table is empty, how many name any",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let survey = run.survey;
    for (index, id) in run.run.equipment.iter().enumerate() {
        if !survey.has_equipment(id) {
            let subject = || run.subject(&format!("/equipment/{index}"));
            out.unknown(
                "equipment",
                id,
                survey.head.equipment.iter().map(|row| row.id.as_str()),
                subject,
            );
        }
    }
}
