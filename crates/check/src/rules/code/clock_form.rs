//! See the rule's documentation below.

use obvert_model::lists::ClockUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// `clock` is neither one hour (`at`) nor an arc (`from` and `to`).
    ///
    /// # Exceptions
    /// - The code takes no clock reference (`clock-not-applicable`).
    ///
    /// # Exactly
    /// `at` with `from` or `to`, only one of these, or none of the three. The exception needs the
    /// code list.
    ///
    /// # Why it matters
    /// It can be read in two ways.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/clock`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/2/clock/to"}]
    /// ```
    /// At `/runs/0/observations/2/clock`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2/clock/at", "value": 12}]
    /// ```
    /// At `/runs/0/observations/3/clock`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/clock", "value": {}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/clock", "value": {"at": 12}}]
    /// ```
    ///
    /// # Fix
    /// Keep `at` for one hour, or `from` and `to` for an arc, clockwise.
    name: "clock-form", severity: Error, scope: Observation, since: "0.1", clause: "observations#clock",
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(clock) = row.row.clock.as_ref().filter(|clock| clock.reading().is_none()) else {
        return;
    };
    if row.code.is_some_and(|code| code.clock.usage == ClockUse::None) {
        return;
    }
    let message = match (clock.at, clock.from, clock.to) {
        (None, None, None) => "the clock reference is empty".to_owned(),
        (None, Some(from), None) => format!("the clock reference is from {from}, but has no to"),
        (None, None, Some(to)) => format!("the clock reference is to {to}, but has no from"),
        (Some(at), ..) => format!("the clock reference is at {at}, but has from or to as well"),
        (None, Some(_), Some(_)) => return,
    };
    out.report(row.subject("/clock"), message);
}
