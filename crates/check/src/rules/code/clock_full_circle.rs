//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::lists::{ClockExtent, ClockUse};
use obvert_model::tables::ClockReading;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An arc begins and ends at the same hour. The format reads it as the whole circumference, and
    /// roots and infiltration all round are written so, but one hour may be meant. Nothing in the
    /// record tells the two apart, so this is a note.
    ///
    /// # Exceptions
    /// - The hours are invalid (`clock-range`), or there is `at` as well (`clock-form`).
    /// - The code takes no clock reference (`clock-not-applicable`).
    ///
    /// # Exactly
    /// `from` equals `to`. The second exception needs the code list.
    ///
    /// # Why it matters
    /// "12 to 12" is entered for a subject at the top as often as for the whole circumference,
    /// which is far more serious.
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
    /// The whole circumference, for a code that does not require a clock reference.
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/5/clock"}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/clock", "value": {"from": 12, "to": 11.5}}]
    /// ```
    ///
    /// # Fix
    /// Write `at` for one hour. For the whole circumference remove the clock reference or, if it is
    /// required, end the arc half an hour before it begins.
    name: "clock-full-circle", severity: Note, scope: Observation, since: "0.1", clause: "observations#clock",
    facts: { "hour" = ClockHour "where the arc begins and ends" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(ClockReading::Arc(from, to)) =
        row.row.clock.as_ref().and_then(|clock| clock.reading())
    else {
        return;
    };
    if from != to
        || !from.is_valid()
        || row.code.is_some_and(|code| code.clock.usage == ClockUse::None)
    {
        return;
    }
    let point = row.code.is_some_and(|code| code.clock.extent == Some(ClockExtent::Point));
    let meaning = if point {
        "one hour was probably meant"
    } else {
        "one hour or the whole circumference may be meant"
    };
    let finding = out
        .report(
            row.subject("/clock"),
            format!("the arc begins and ends at {from} o'clock; {meaning}"),
        )
        .fact("hour", from.get());
    if point {
        let edits = vec![
            Edit::relocate(row.subject("/clock/from").path, row.subject("/clock/at").path),
            Edit::remove(row.subject("/clock/to").path),
        ];
        finding.fix_if_confirmed(format!("one hour was meant, {from} o'clock"), edits);
    }
}
