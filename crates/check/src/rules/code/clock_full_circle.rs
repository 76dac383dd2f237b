//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::lists::{ClockExtent, ClockUse};
use obvert_model::tables::ClockReading;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An arc does not begin and end at one hour. The format reads such an arc as all the way round; whether that, or
    /// one hour, was meant must be said.
    ///
    /// The rule stands back where the hours are wrong in themselves, where `at` stands beside the arc, and where a clock reference means nothing with the
    /// code.
    ///
    /// # Why it matters
    /// "12 to 12" is entered for a spot at the top as often as for the whole circumference. One is a small matter, the
    /// other can be a pipe that has come apart.
    ///
    /// # Fails
    /// At `/runs/0/observations/5/clock`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/clock", "value": {"from": 12, "to": 12}}]
    /// ```
    /// A connection is at one hour. At `/runs/0/observations/3/clock`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/clock", "value": {"from": 2, "to": 2}}]
    /// ```
    ///
    /// # Passes
    /// All the way round, for a code that may go without a clock.
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/5/clock"}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/clock", "value": {"from": 12, "to": 11.5}}]
    /// ```
    ///
    /// # Fix
    /// Write `at` for one hour. For all the way round leave the clock out, or, where the code needs one, let the arc end
    /// half an hour before it began.
    name: "clock-full-circle", severity: Warning, scope: Observation, since: "0.1", clause: "observations#clock",
    facts: { "hour" = ClockHour "where the arc begins and ends" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(ClockReading::Arc(from, to)) = row.row.clock.as_ref().and_then(|clock| clock.reading()) else { return };
    if from != to || !from.is_valid() || row.code.is_some_and(|code| code.clock.usage == ClockUse::None) {
        return;
    }
    let point = row.code.is_some_and(|code| code.clock.extent == Some(ClockExtent::Point));
    let question = if point { "one hour was probably meant" } else { "is one hour meant, or all the way round?" };
    let finding = out
        .report(row.subject("/clock"), format!("the arc begins and ends at {from} o'clock; {question}"))
        .fact("hour", from.get());
    if point {
        let edits = vec![
            Edit::relocate(row.subject("/clock/from").path, row.subject("/clock/at").path),
            Edit::remove(row.subject("/clock/to").path),
        ];
        finding.fix_if_confirmed(format!("one hour was meant, {from} o'clock"), edits);
    }
}
