//! See the rule's documentation below.

use obvert_model::lists::StretchUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A code that applies at a single point only is recorded over a stretch.
    ///
    /// # Why it matters
    /// It is counted once for every interval of the stretch.
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
    /// Record it at one distance, with a row for each if there are several.
    name: "stretch-not-allowed", severity: Error, scope: Observation, since: "0.1", clause: "observations#stretches",
    needs: [Codes],
    facts: { "code" = Code "the code of the row" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code.filter(|code| code.continuous == StretchUse::Never) else { return };
    if row.row.is_stretch() {
        let field = if row.row.to.is_some() { "/to" } else { "/continuous" };
        let message = format!(
            "{:?} ({}) applies at a single point but is recorded over a stretch",
            code.code.as_str(),
            code.name()
        );
        out.report(row.subject(field), message).fact("code", code.code.as_str());
    }
}
