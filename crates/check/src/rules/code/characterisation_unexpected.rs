//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation has no more characterisations than its code has places for.
    ///
    /// # Why it matters
    /// What stands in a place that the list does not have means nothing to a reader. Mostly it belongs to another code,
    /// and the code is the mistake.
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
    /// Take the surplus away, put it into the remark, or correct the code.
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
    if let Some(surplus) = row.row.characterisation.get(places) {
        let takes = match places {
            0 => "no characterisation".to_owned(),
            places => format!("{places} at most"),
        };
        out.report(
            row.subject(&format!("/characterisation/{places}")),
            format!("{} takes {takes}, but {surplus:?} is recorded", code.code),
        )
        .fact("recorded", row.row.characterisation.len())
        .fact("places", places);
    }
}
