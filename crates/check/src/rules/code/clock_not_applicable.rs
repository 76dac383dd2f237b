//! See the rule's documentation below.

use obvert_model::lists::ClockUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A code that concerns the whole cross-section, or the run itself, is recorded without a clock reference.
    ///
    /// # Why it matters
    /// A water level at 3 o'clock is a reference that slipped into the wrong row, and so is missing from another.
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
    /// Take the clock reference away, or move it to the row that it belongs to.
    name: "clock-not-applicable", severity: Warning, scope: Observation, since: "0.1", clause: "observations#clock",
    needs: [Codes],
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    if row.row.clock.is_some() {
        if let Some(code) = row.code.filter(|code| code.clock.usage == ClockUse::None) {
            out.report(row.subject("/clock"), format!("a clock reference means nothing with {}", code.code));
        }
    }
}
