//! See the rule's documentation below.

use obvert_model::lists::StretchUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// `to` equals `at`.
    ///
    /// # Exceptions
    /// - The code applies at a single point only (`stretch-not-allowed`).
    ///
    /// # Exactly
    /// As recorded. The exception needs the code list.
    ///
    /// # Why it matters
    /// It is a point, which is counted differently, or `to` was never filled in.
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
    /// Correct `to`, or remove `to` and `continuous` for a point.
    name: "stretch-zero-length", severity: Warning, scope: Observation, since: "0.1", clause: "observations#stretches",
    facts: { "at" = Length "`at` of the row" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    if row.row.to != Some(row.row.at)
        || row.code.is_some_and(|code| code.continuous == StretchUse::Never)
    {
        return;
    }
    let message =
        format!("the stretch begins and ends at {}", row.survey().format_length(row.row.at));
    out.report(row.subject("/to"), message).fact("at", row.row.at.get());
}
