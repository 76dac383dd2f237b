//! See the rule's documentation below.

use obvert_model::lists::StretchUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A row has `continuous: true` but no `to`.
    ///
    /// # Exceptions
    /// - The code applies at a single point only (`stretch-not-allowed`).
    ///
    /// # Exactly
    /// The exception needs the code list.
    ///
    /// # Why it matters
    /// Without a length the defect cannot be graded or priced.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/continuous`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/2/to"}]
    /// ```
    ///
    /// # Passes
    /// A point.
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/2/to"},
    ///  {"op": "remove", "path": "/runs/0/observations/2/continuous"}]
    /// ```
    ///
    /// # Fix
    /// Add `to`; at the end of the run it is the last row's distance. Remove `continuous` for a
    /// point.
    name: "stretch-unfinished", severity: Error, scope: Observation, since: "0.1", clause: "observations#stretches",
    uses: [row_order],
    facts: { "code" = Code "the code of the row" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    if row.row.continuous != Some(true) || row.row.to.is_some() {
        return;
    }
    if row.code.is_some_and(|code| code.continuous == StretchUse::Never) {
        return;
    }
    let message = format!(
        "{:?} begins at {} but has no end",
        row.row.code.as_str(),
        row.survey().format_length(row.row.at)
    );
    let finding =
        out.report(row.subject("/continuous"), message).fact("code", row.row.code.as_str());
    // The closing row gives the end of the run; without one, `surveyed` does.
    let end = row.run.marks().finish.or(row.run.run.surveyed).filter(|end| *end > row.row.at);
    if let Some(end) = end.filter(|_| !row.run.disordered()) {
        finding.help(format!(
            "look up in the video where it ends and write that as `to`; if it continues to the end \
             of the run, that is {}",
            row.survey().format_length(end)
        ));
    }
}
