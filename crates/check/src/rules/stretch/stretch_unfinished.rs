//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::lists::StretchUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A stretch that was begun (`continuous`) also ends (`to`). A code that is never recorded over a stretch is left to
    /// `stretch-not-allowed`.
    ///
    /// # Why it matters
    /// A defect that never ends has no length: it cannot be graded, and nobody knows how much of the pipe to mend.
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
    /// Add the distance at which it ended; where it went on to the end of the run, that is the last row's. Take
    /// `continuous` away if it was at one place only.
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
    let message = format!("{:?} begins at {} and never ends", row.row.code.as_str(), row.survey().say(row.row.at));
    let finding = out.report(row.subject("/continuous"), message).fact("code", row.row.code.as_str());
    // Where the rows say that the run ends, and else where its length does.
    let end = row.run.marks().finish.or(row.run.run.surveyed).filter(|end| *end > row.row.at);
    if let Some(end) = end.filter(|_| !row.run.disordered()) {
        let does = format!("it went on to the end of the run, {}", row.survey().say(end));
        finding.fix_if_confirmed(does, vec![Edit::add(row.subject("/to").path, end.get())]);
    }
}
