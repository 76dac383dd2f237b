//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// Every amount is in a unit that measures what the code list says: a length in any unit of length, a share in
    /// percent, and so on.
    ///
    /// # Why it matters
    /// Ten per cent and ten millimetres of offset are not the same joint. An amount in the wrong kind of unit cannot be
    /// converted, and the grade that rests on it is a guess.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/quantities/0/unit`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/quantities/0/unit", "value": "percent"}]
    /// ```
    ///
    /// # Passes
    /// Inches where the list has millimetres.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/quantities/0", "value": {"value": 0.04, "unit": "ft"}}]
    /// ```
    ///
    /// # Fix
    /// Correct the unit, or the amount if it was taken in another way than the list asks for.
    name: "quantity-unit", severity: Error, scope: Observation, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    facts: {
        "unit" = Unit "the unit, as recorded",
        "expected" = Unit "the unit that the code list gives the amount",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code else { return };
    for (index, (recorded, meaning)) in
        row.row.quantities.iter().zip(code.amounts(&row.row.characterisation)).enumerate()
    {
        if recorded.unit.dimension() != meaning.unit.dimension() {
            out.report(
                row.subject(&format!("/quantities/{index}/unit")),
                format!(
                    "the {} of {} is measured in {}, but {} {} is recorded",
                    meaning.name, code.code, meaning.unit, recorded.value, recorded.unit
                ),
            )
            .fact("unit", recorded.unit.as_str())
            .fact("expected", meaning.unit.as_str());
        }
    }
}
