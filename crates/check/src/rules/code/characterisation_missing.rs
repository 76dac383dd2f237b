//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A characterisation that the code list requires is missing: the row has none at its position.
    ///
    /// # Exactly
    /// One finding, at `characterisation`, or else at the row.
    ///
    /// # Why it matters
    /// Dripping and gushing infiltration have the same code; the characterisation decides the
    /// grade.
    ///
    /// # Fails
    /// At `/runs/1/observations/2`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/observations/2/characterisation"}]
    /// ```
    ///
    /// # Passes
    /// The form of a preformed junction is optional.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/code", "value": "connection.preformed"}]
    /// ```
    ///
    /// # Fix
    /// Add the missing value; the message lists what it can be.
    name: "characterisation-missing", severity: Error, scope: Observation, since: "0.1",
    clause: "observations#characterisation",
    needs: [Codes],
    facts: { "missing" = Text "the name of the first missing characterisation, as the code list has it" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code else { return };
    let recorded = row.row.characterisation.len();
    if let Some(place) = code.characterisation.iter().skip(recorded).find(|place| place.required) {
        let values: Vec<&str> = place.values.iter().map(|value| value.value.as_str()).collect();
        let values = if values.is_empty() {
            String::new()
        } else {
            format!(", one of {}", values.join(", "))
        };
        let finding = out.report(
            row.subject(if row.row.characterisation.is_empty() { "" } else { "/characterisation" }),
            format!("{} is missing its {}{values}", code.code, place.name),
        );
        finding.fact("missing", place.name.as_str());
        if let Some(caution) = row.caution() {
            finding.help(format!("add the {}; caution: {caution}", place.name));
        }
    }
}
