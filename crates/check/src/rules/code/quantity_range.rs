//! See the rule's documentation below.

use obvert_model::lists::Role;

use crate::grading::{in_range, tidy};
use crate::sink::Sink;
use crate::support::column_votes::{Cause, Causes};
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A quantity, converted into the code list's unit, is outside the range that the list gives
    /// it. Both ends of the range are allowed.
    ///
    /// # Exceptions
    /// - The unit measures something else (`quantity-unit`).
    ///
    /// # Exactly
    /// As in Ranges of Conventions, by the document's own list, also over links.
    ///
    /// # Why it matters
    /// In grades and statistics a misplaced decimal point looks like the worst case.
    ///
    /// # Fails
    /// At `/runs/0/observations/1/quantities/0/value`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/1/quantities/0/value", "value": 140}]
    /// ```
    /// 50 in is 1270 mm. At `/runs/0/observations/4/quantities/0/value`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/quantities/0/value", "value": 50}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/1/quantities/0/value", "value": 100}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/1/quantities/0/value", "value": 0}]
    /// ```
    ///
    /// # Fix
    /// Correct the quantity or its unit.
    name: "quantity-range", severity: Error, scope: Observation, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    facts: {
        "amount" = Amount "the quantity, in `unit`",
        "unit" = Unit "the unit that the code list gives the quantity",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code else { return };
    for (index, (recorded, meaning)) in
        row.row.quantities.iter().zip(code.amounts(&row.row.characterisation)).enumerate()
    {
        let Some(amount) = row.amount(index).filter(|amount| !in_range(meaning, *amount)) else {
            continue;
        };
        let converted = if recorded.unit == meaning.unit {
            String::new()
        } else {
            format!(" = {} {}", tidy(amount), meaning.unit)
        };
        let range = match (meaning.min, meaning.max) {
            (Some(min), Some(max)) => format!("between {min} and {max}"),
            (Some(min), None) => format!("{min} or more"),
            (None, Some(max)) => format!("{max} or less"),
            (None, None) => continue,
        };
        // A column of sizes in another unit is one finding, and so is one that is a row off.
        let connection = row.role() == Some(Role::Connection);
        let column = Causes::default()
            .with(Cause::ConnectionUnit, connection)
            .with(Cause::Shifted, row.run.is_shifted(row.index));
        out.report_unless(
            column,
            row.subject(&format!("/quantities/{index}/value")),
            format!(
                "the {} of {} {}{converted} is out of range for {}: it must be {range} {}",
                meaning.name, recorded.value, recorded.unit, code.code, meaning.unit
            ),
        )
        .fact("amount", amount)
        .fact("unit", meaning.unit.as_str());
    }
}
