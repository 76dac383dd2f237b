//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Causes};
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation has more quantities than its code takes.
    ///
    /// # Exceptions
    /// - A characterisation in an open position is not in the code list: it may take an additional
    ///   quantity.
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    ///
    /// # Exactly
    /// Beyond the *places* for the row (Code lists); at the first such quantity.
    ///
    /// # Why it matters
    /// What a quantity measures follows from its position, so the extra one has no meaning.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/quantities/1`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4/quantities/-", "value": {"value": 5, "unit": "percent"}}]
    /// ```
    /// At `/runs/1/observations/2/quantities/0`:
    /// ```json
    /// [{"op": "add", "path": "/runs/1/observations/2/quantities", "value": [{"value": 90, "unit": "ft"}]}]
    /// ```
    ///
    /// # Passes
    /// The height and the width of a connection.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/quantities/-", "value": {"value": 4, "unit": "in"}}]
    /// ```
    ///
    /// # Fix
    /// Remove the extra quantity, move it to the remark, or correct the code.
    name: "quantity-unexpected", severity: Warning, scope: Observation, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    facts: {
        "recorded" = Count "quantities that the row has",
        "places" = Count "quantities that the code takes with the row's characterisation",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let shifted = Causes::default().with(Cause::Shifted, row.run.is_shifted(row.index));
    let Some(code) = row.code else { return };
    // A characterisation that is not in the list may take an additional quantity.
    let known =
        |(place, value): (&obvert_model::lists::Characterisation, &obvert_model::text::Text)| {
            place.open != Some(true) || place.values.iter().any(|known| known.value == *value)
        };
    if !code.characterisation.iter().zip(&row.row.characterisation).all(known) {
        return;
    }
    let amounts = || code.amounts(&row.row.characterisation);
    let places = amounts().count();
    if let Some(extra) = row.row.quantities.get(places) {
        let names: Vec<&str> = amounts().map(|meaning| meaning.name.as_str()).collect();
        let takes = if names.is_empty() {
            "no quantity".to_owned()
        } else {
            format!("only its {}", names.join(" and "))
        };
        out.report_unless(
            shifted,
            row.subject(&format!("/quantities/{places}")),
            format!(
                "{} takes {takes}, but {} {} is recorded as well",
                code.code, extra.value, extra.unit
            ),
        )
        .fact("recorded", row.row.quantities.len())
        .fact("places", places);
    }
}
