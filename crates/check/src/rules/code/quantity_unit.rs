//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Causes};
use crate::views::RowView;

rule! {
    /// # What it checks
    /// The unit of a quantity measures something else than the code list's: a percentage where the
    /// list has a length, for example.
    ///
    /// # Exceptions
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    ///
    /// # Exactly
    /// Each quantity with a place, by the dimension of its unit.
    ///
    /// # Why it matters
    /// It cannot be converted, so a grade that rests on it is a guess.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/quantities/0/unit`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/quantities/0/unit", "value": "percent"}]
    /// ```
    ///
    /// # Passes
    /// Feet where the list has millimetres.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/quantities/0", "value": {"value": 0.04, "unit": "ft"}}]
    /// ```
    ///
    /// # Fix
    /// Correct the unit or the quantity.
    name: "quantity-unit", severity: Error, scope: Observation, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    facts: {
        "unit" = Unit "the unit, as recorded",
        "expected" = Unit "the unit that the code list gives the quantity",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let shifted = Causes::default().with(Cause::Shifted, row.run.is_shifted(row.index));
    let Some(code) = row.code else { return };
    for (index, (recorded, meaning)) in
        row.row.quantities.iter().zip(code.amounts(&row.row.characterisation)).enumerate()
    {
        if recorded.unit.dimension() != meaning.unit.dimension() {
            out.report_unless(
                shifted,
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
