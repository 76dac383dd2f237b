//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::lists::StretchUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A stretch is longer than nothing. A code that is never recorded over a stretch is left to `stretch-not-allowed`.
    ///
    /// # Why it matters
    /// Either it is a point, which is counted otherwise than a stretch, or its end was copied from its beginning and
    /// never filled in.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/to`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/to", "value": 12.4}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/to", "value": 12.5}]
    /// ```
    ///
    /// # Fix
    /// Fill in the distance at which it ended, or take `to` and `continuous` away if it was at one place only.
    name: "stretch-zero-length", severity: Warning, scope: Observation, since: "0.1", clause: "observations#stretches",
    facts: { "at" = Length "`at` of the row" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    if row.row.to != Some(row.row.at) || row.code.is_some_and(|code| code.continuous == StretchUse::Never) {
        return;
    }
    let message = format!("the stretch ends at {}, where it begins", row.survey().say(row.row.at));
    let mut edits = vec![Edit::remove(row.subject("/to").path)];
    edits.extend(row.row.continuous.map(|_| Edit::remove(row.subject("/continuous").path)));
    out.report(row.subject("/to"), message)
        .fact("at", row.row.at.get())
        .fix_if_confirmed("it was at one place only", edits);
}
