//! See the rule's documentation below.

use obvert_model::lists::StretchUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A code that the code list has only at one distance is not recorded over a stretch. The other rules about the
    /// stretch then stand back.
    ///
    /// # Why it matters
    /// A connection or a displaced joint is at one place. Over a stretch it is counted again for every interval of it.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/to`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4/to", "value": 98}]
    /// ```
    /// At `/runs/0/observations/4/continuous`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4/continuous", "value": true}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4/continuous", "value": false}]
    /// ```
    ///
    /// # Fix
    /// Record it at one distance; where there are several, a row for each.
    name: "stretch-not-allowed", severity: Error, scope: Observation, since: "0.1", clause: "observations#stretches",
    needs: [Codes],
    facts: { "code" = Code "the code of the row" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code.filter(|code| code.continuous == StretchUse::Never) else { return };
    if row.row.is_stretch() {
        let field = if row.row.to.is_some() { "/to" } else { "/continuous" };
        let message =
            format!("{:?} ({}) is recorded at one distance, never over a stretch", code.code.as_str(), code.name());
        out.report(row.subject(field), message).fact("code", code.code.as_str());
    }
}
