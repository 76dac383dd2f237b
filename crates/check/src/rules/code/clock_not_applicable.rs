//! See the rule's documentation below.

use obvert_model::lists::ClockUse;

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Causes};
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A clock reference is recorded with a code that takes none, since it concerns the whole
    /// cross-section or the run.
    ///
    /// # Exceptions
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    ///
    /// # Exactly
    /// `clock` is present, and `clock.use` of the code is `none`.
    ///
    /// # Why it matters
    /// It belongs to another row, which now lacks it.
    ///
    /// # Fails
    /// At `/runs/0/observations/1/clock`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/1/clock", "value": {"at": 3}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4/clock", "value": {"at": 3}}]
    /// ```
    ///
    /// # Fix
    /// Remove the clock reference, or move it to the right row.
    name: "clock-not-applicable", severity: Warning, scope: Observation, since: "0.1", clause: "observations#clock",
    needs: [Codes],
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let shifted = Causes::default().with(Cause::Shifted, row.run.is_shifted(row.index));
    if row.row.clock.is_some() {
        if let Some(code) = row.code.filter(|code| code.clock.usage == ClockUse::None) {
            out.report_unless(
                shifted,
                row.subject("/clock"),
                format!("{} takes no clock reference", code.code),
            );
        }
    }
}
