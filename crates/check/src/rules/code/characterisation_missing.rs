//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// Every characterisation that the code list asks for is there. Characterisations stand in the list's order, so one
    /// is missing where the row has fewer than its place asks for.
    ///
    /// # Why it matters
    /// Infiltration that drips and infiltration that gushes have one code. What tells them apart, and decides the grade,
    /// is the characterisation.
    ///
    /// # Fails
    /// At `/runs/1/observations/2`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/observations/2/characterisation"}]
    /// ```
    ///
    /// # Passes
    /// The form of a preformed junction may be left out.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/code", "value": "connection.preformed"}]
    /// ```
    ///
    /// # Fix
    /// Add what is missing; the message lists what can stand there.
    name: "characterisation-missing", severity: Error, scope: Observation, since: "0.1",
    clause: "observations#characterisation",
    needs: [Codes],
    facts: { "missing" = Text "the name of the first required place that is empty, as the code list has it" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code else { return };
    let recorded = row.row.characterisation.len();
    if let Some(place) = code.characterisation.iter().skip(recorded).find(|place| place.required) {
        let values: Vec<&str> = place.values.iter().map(|value| value.value.as_str()).collect();
        let values = if values.is_empty() { String::new() } else { format!(": one of {}", values.join(", ")) };
        out.report(
            row.subject(if row.row.characterisation.is_empty() { "" } else { "/characterisation" }),
            format!("{} needs its {}{values}", code.code, place.name),
        )
        .fact("missing", place.name.as_str());
    }
}
