//! See the rule's documentation below.

use obvert_model::lists::StretchUse;

use crate::sink::Sink;
use crate::support::row_order;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// `to` is less than `at`.
    ///
    /// # Exceptions
    /// - The row is not *settled*: it is out of order with its neighbours or outside the run.
    /// - `to` is below the zero reading (`distance-negative`).
    /// - The code applies at a single point only (`stretch-not-allowed`).
    ///
    /// # Exactly
    /// The last exception needs the code list.
    ///
    /// # Why it matters
    /// The negative length is subtracted from the length to repair.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/to`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/to", "value": 4.42}]
    /// ```
    ///
    /// # Passes
    /// `at` is mistyped, as the neighbouring rows show.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/at", "value": 124}]
    /// ```
    ///
    /// # Fix
    /// Correct `to`, or swap `at` and `to`.
    name: "stretch-ends-before-start", severity: Error, scope: Observation, since: "0.1", clause: "observations#stretches",
    uses: [row_order],
    facts: {
        "at" = Length "`at` of the row",
        "to" = Length "`to` of the row",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let (at, Some(to)) = (row.row.at, row.row.to) else { return };
    if to >= at || to.get() < row.run.reads() || !row_order::in_order(row.run, row.index) {
        return;
    }
    if row.code.is_some_and(|code| code.continuous == StretchUse::Never) {
        return;
    }
    let (begins, ends) = (row.survey().format_length(at), row.survey().format_length(to));
    out.report(
        row.subject("/to"),
        format!("the stretch ends at {ends}, before it begins at {begins}"),
    )
    .fact("at", at.get())
    .fact("to", to.get());
}
