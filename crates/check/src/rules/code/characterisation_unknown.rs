//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::lists::{Characterisation, Code};

use crate::catalogue::same_but_case;
use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A characterisation is not one of the values that the code list has for its position.
    ///
    /// # Exceptions
    /// - The code list has the position open to other values.
    ///
    /// # Exactly
    /// Case counts. A place without listed values takes any.
    ///
    /// # Why it matters
    /// It is ignored when the grade is looked up, so a serious defect can be graded as a slight
    /// one.
    ///
    /// # Fails
    /// At `/runs/1/observations/2/characterisation/0`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/2/characterisation/0", "value": "colapse"}]
    /// ```
    /// At `/runs/1/observations/2/characterisation/0`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/2/characterisation/0", "value": "Collapse"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/2/characterisation/0", "value": "high-water"}]
    /// ```
    ///
    /// # Fix
    /// Write one of the list's values for this position.
    name: "characterisation-unknown", severity: Error, scope: Observation, since: "0.1",
    clause: "observations#characterisation",
    needs: [Codes],
    facts: { "value" = Text "the characterisation, as recorded" },
}

fn has(place: &Characterisation, value: &str) -> bool {
    place.values.iter().any(|known| *known.value == *value)
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code else { return };
    for (index, (value, place)) in
        row.row.characterisation.iter().zip(&code.characterisation).enumerate()
    {
        if place.open == Some(true) || place.values.is_empty() || has(place, value) {
            continue;
        }
        let help = advice(code, place, value, out);
        let message = format!("{value:?} is not a {} of {}", place.name, code.code);
        let subject = row.subject(&format!("/characterisation/{index}"));
        let meant = same_but_case(value, place.values.iter().map(|known| known.value.as_str()));
        let edits = meant.map(|meant| vec![Edit::replace(subject.path.as_str(), meant)]);
        let finding = out.report(subject, message).fact("value", value.as_str()).help(help);
        if let (Some(meant), Some(edits)) = (meant, edits) {
            finding.fix_safely(format!("writes {:?} as {meant:?}", value.as_str()), edits);
        }
    }
}

fn advice(code: &Code, place: &Characterisation, value: &str, out: &mut Sink<'_>) -> String {
    if let Some(other) = code.characterisation.iter().find(|other| has(other, value)) {
        return format!(
            "{value:?} is a {} of this code; write the characterisations in the code list's order",
            other.name
        );
    }
    let meant = value.to_lowercase();
    if let Some(known) =
        place.values.iter().find(|known| known.label.values().any(|l| l.to_lowercase() == meant))
    {
        return format!("Did you mean {:?}?", known.value.as_str());
    }
    let values = || place.values.iter().map(|known| known.value.as_str());
    match out.near(value, values()) {
        Some(near) => format!("Did you mean {near:?}?"),
        None => format!("write one of {}", values().collect::<Vec<_>>().join(", ")),
    }
}
