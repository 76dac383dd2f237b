//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation has more characterisations than its code takes.
    ///
    /// # Why it matters
    /// The extra value has no meaning; usually the code is wrong.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/characterisation/0`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4/characterisation", "value": ["sideways"]}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/characterisation", "value": ["square"]}]
    /// ```
    ///
    /// # Fix
    /// Remove the extra value, move it to the remark, or correct the code.
    name: "characterisation-unexpected", severity: Warning, scope: Observation, since: "0.1",
    clause: "observations#characterisation",
    needs: [Codes],
    facts: {
        "recorded" = Count "characterisations that the row has",
        "places" = Count "characterisations that the code takes",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code else { return };
    let places = code.characterisation.len();
    if let Some(extra) = row.row.characterisation.get(places) {
        let takes = match places {
            0 => "no characterisation".to_owned(),
            places => format!("at most {places}"),
        };
        out.report(
            row.subject(&format!("/characterisation/{places}")),
            format!("{} takes {takes}, but {extra:?} is recorded as well", code.code),
        )
        .fact("recorded", row.row.characterisation.len())
        .fact("places", places);
    }
}
