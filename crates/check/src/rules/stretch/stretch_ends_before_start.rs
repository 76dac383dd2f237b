//! See the rule's documentation below.

use obvert_model::lists::StretchUse;

use crate::sink::Sink;
use crate::support::row_order;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A stretch ends after it begins. The rule stands back where the row is not settled, where the end lies before the zero point (`distance-negative`), and for a code that is never recorded
    /// over a stretch (`stretch-not-allowed`).
    ///
    /// # Why it matters
    /// The length comes out negative, and is taken away from the length of what is to be mended.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/to`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/to", "value": 4.42}]
    /// ```
    ///
    /// # Passes
    /// The beginning was typed wrongly, and its neighbours show it.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/at", "value": 124}]
    /// ```
    ///
    /// # Fix
    /// Correct the end, or exchange the two if they were entered the wrong way round.
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
    let (begins, ends) = (row.survey().say(at), row.survey().say(to));
    out.report(row.subject("/to"), format!("the stretch ends at {ends}, before it begins at {begins}"))
        .fact("at", at.get())
        .fact("to", to.get());
}
