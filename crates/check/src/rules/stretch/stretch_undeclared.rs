//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::lists::StretchUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A row has `to` but not `continuous: true`.
    ///
    /// # Exceptions
    /// - The code applies at a single point only (`stretch-not-allowed`).
    ///
    /// # Exactly
    /// `continuous` is absent or false. The exception needs the code list.
    ///
    /// # Why it matters
    /// Software that relies on `continuous` reads a point and drops the length.
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
    /// Add `continuous: true`, or remove `to`.
    name: "stretch-undeclared", severity: Warning, scope: Observation, since: "0.1", clause: "observations#stretches",
    facts: { "to" = Length "`to` of the row" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(to) = row.row.to.filter(|_| row.row.continuous != Some(true)) else { return };
    if row.code.is_some_and(|code| code.continuous == StretchUse::Never) {
        return;
    }
    let message = format!(
        "the row ends at {} but does not have continuous: true",
        row.survey().format_length(to)
    );
    let finding = out.report(row.subject("/to"), message).fact("to", to.get());
    let edits = vec![Edit::add(row.subject("/continuous").path, true)];
    match row.row.continuous {
        // Only a stretch has an end beyond its start, and readers of the format already treat it as
        // one.
        None if to > row.row.at => finding.fix_safely("adds continuous: true", edits),
        Some(false) if to > row.row.at => finding.help(
            "`to` and continuous: false contradict each other: write continuous: true if the row is \
             a stretch, or remove `to` if it is at one point",
        ),
        _ => finding,
    };
}
