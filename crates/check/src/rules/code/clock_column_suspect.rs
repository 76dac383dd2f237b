//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Vote};
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// Many clock hours of observations are 13 or more: they are on a dial of 24 hours, minutes or
    /// degrees (*Mistakes in a column* in Checking). There is one finding for the document; findings
    /// on single hours that only this causes are not reported.
    ///
    /// # Exactly
    /// At least three hours, not counting 0, are 13 or more: a quarter of them, or half of them if
    /// the highest one is above 24. The finding is about degrees if the highest one is above 60, and
    /// about 24 hours if it is not above 24.
    ///
    /// # Why it matters
    /// The places of all defects on the wall are lost: 18 may be 6 o'clock (the time of day) or 9
    /// o'clock (a dial of 24 hours), 90 degrees are 3 o'clock.
    ///
    /// # Source
    /// EN 13508-2, 8.1.5 (from memory): hours from 1 to 12. How many must agree: common practice.
    ///
    /// # Fails
    /// At `/runs`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/clock", "value": {"from": 330, "to": 30}},
    ///  {"op": "replace", "path": "/runs/0/observations/3/clock", "value": {"at": 60}},
    ///  {"op": "replace", "path": "/runs/0/observations/5/clock", "value": {"from": 150, "to": 210}}]
    /// ```
    ///
    /// # Passes
    /// One slip (`clock-range`).
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/clock", "value": {"at": 22}}]
    /// ```
    ///
    /// # Fix
    /// Convert the column: an hour is 30 degrees or 5 minutes of the dial, from the top clockwise.
    /// If it counts 24 hours, find out whether 12 is the top or the bottom.
    name: "clock-column-suspect", severity: Error, scope: Ending, since: "0.1", clause: "observations#clock",
    concludes_from: ["runs", "observations.clock"],
    facts: {
        "agree" = Count "hours of 13 or more",
        "of" = Count "hours other than 0",
        "highest" = ClockHour "the highest hour",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let columns = ending.columns;
    if !columns.show(Cause::ClockUnit) {
        return;
    }
    let (Vote { agree, of }, highest) = (columns.hours, columns.latest);
    let dial = if highest > 60.0 {
        "degrees"
    } else if highest > 24.0 {
        "minutes of a dial, or degrees"
    } else {
        "hours of 24"
    };
    let message = format!(
        "{agree} of {of} clock hours are 13 or more, up to {highest}: they seem to be {dial}"
    );
    out.report(Subject::at("/runs"), message)
        .fact("agree", agree)
        .fact("of", of)
        .fact("highest", highest);
}
