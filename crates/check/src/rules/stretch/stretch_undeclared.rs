//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::lists::StretchUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation that has an end (`to`) is declared a stretch (`continuous: true`). A code that is never recorded
    /// over a stretch is left to `stretch-not-allowed`.
    ///
    /// # Why it matters
    /// Software that goes by the declaration takes it for a point and drops its length.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/to`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/2/continuous"}]
    /// ```
    /// At `/runs/0/observations/2/to`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/continuous", "value": false}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/5/to", "value": 130},
    ///  {"op": "add", "path": "/runs/0/observations/5/continuous", "value": true}]
    /// ```
    ///
    /// # Fix
    /// Add `continuous: true`, or take `to` away.
    name: "stretch-undeclared", severity: Warning, scope: Observation, since: "0.1", clause: "observations#stretches",
    facts: { "to" = Length "`to` of the row" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(to) = row.row.to.filter(|_| row.row.continuous != Some(true)) else { return };
    if row.code.is_some_and(|code| code.continuous == StretchUse::Never) {
        return;
    }
    let message = format!("the row ends at {} but is not declared a stretch", row.survey().say(to));
    let finding = out.report(row.subject("/to"), message).fact("to", to.get());
    let edits = vec![Edit::add(row.subject("/continuous").path, true)];
    match row.row.continuous {
        // An end that lies farther on is said for nothing else, and readers of this format go by it already.
        None if to > row.row.at => finding.fix_safely("declares the stretch that its end makes it", edits),
        Some(false) if to > row.row.at => {
            finding.fix_if_confirmed("it is a stretch; that it is none was said by mistake", edits)
        }
        _ => finding,
    };
}
