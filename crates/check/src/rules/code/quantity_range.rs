//! See the rule's documentation below.

use crate::grading::{in_range, tidy};
use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// Every amount lies in the range that the code list gives it, after conversion into the list's unit; both ends of
    /// the range are allowed. An amount in the wrong kind of unit is another rule's finding.
    ///
    /// # Why it matters
    /// More than all of the height cannot be under water. Such an amount has a slipped decimal point or the wrong unit,
    /// and grades and statistics take it for the worst case of all.
    ///
    /// # Fails
    /// At `/runs/0/observations/1/quantities/0/value`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/1/quantities/0/value", "value": 140}]
    /// ```
    /// 50 in are 1270 mm. At `/runs/0/observations/4/quantities/0/value`:
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
    /// Correct the amount or its unit.
    name: "quantity-range", severity: Error, scope: Observation, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    facts: {
        "amount" = Amount "the amount, in `unit`",
        "unit" = Unit "the unit that the code list gives the amount",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code else { return };
    for (index, (recorded, meaning)) in
        row.row.quantities.iter().zip(code.amounts(&row.row.characterisation)).enumerate()
    {
        let Some(amount) = row.amount(index).filter(|amount| !in_range(meaning, *amount)) else { continue };
        let converted =
            if recorded.unit == meaning.unit { String::new() } else { format!(" = {} {}", tidy(amount), meaning.unit) };
        let range = match (meaning.min, meaning.max) {
            (Some(min), Some(max)) => format!("between {min} and {max}"),
            (Some(min), None) => format!("{min} or more"),
            (None, Some(max)) => format!("{max} or less"),
            (None, None) => continue,
        };
        out.report(
            row.subject(&format!("/quantities/{index}/value")),
            format!(
                "a {} of {} {}{converted} is impossible with {}: it is {range} {}",
                meaning.name, recorded.value, recorded.unit, code.code, meaning.unit
            ),
        )
        .fact("amount", amount)
        .fact("unit", meaning.unit.as_str());
    }
}
