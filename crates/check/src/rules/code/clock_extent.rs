//! See the rule's documentation below.

use obvert_model::lists::{ClockExtent, ClockUse};
use obvert_model::tables::ClockReading;

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Causes};
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A clock reference is an arc where the code list asks for a point, or a point where it asks
    /// for an arc.
    ///
    /// # Exceptions
    /// - The hours are invalid (`clock-range`), or the clock reference is in neither form
    ///   (`clock-form`).
    /// - The arc begins and ends at the same hour (`clock-full-circle`).
    /// - The code takes no clock reference (`clock-not-applicable`).
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    ///
    /// # Exactly
    /// `extent` `either`, or none, takes both.
    ///
    /// # Why it matters
    /// The extent of a crack around the pipe decides whether the pipe is stable; a cutter that
    /// opens a connection needs its centre.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/clock`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/clock", "value": {"from": 1, "to": 3}}]
    /// ```
    /// At `/runs/0/observations/2/clock`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/code", "value": "crack.helical"},
    ///  {"op": "replace", "path": "/runs/0/observations/2/clock", "value": {"at": 3}}]
    /// ```
    ///
    /// # Passes
    /// A longitudinal crack can be either.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/clock", "value": {"at": 12}}]
    /// ```
    ///
    /// # Fix
    /// Write one hour as `at`, or an arc as `from` and `to`, clockwise.
    name: "clock-extent", severity: Warning, scope: Observation, since: "0.1", clause: "observations#clock",
    needs: [Codes],
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let shifted = Causes::default().with(Cause::Shifted, row.run.is_shifted(row.index));
    let Some(code) = row.code.filter(|code| code.clock.usage != ClockUse::None) else { return };
    let Some(reading) = row.row.clock.as_ref().and_then(|clock| clock.reading()) else { return };
    match (reading, code.clock.extent) {
        (ClockReading::Point(at), Some(ClockExtent::Span)) if at.is_valid() => {
            out.report_unless(
                shifted,
                row.subject("/clock"),
                format!("{} extends over an arc, but only {at} o'clock is recorded", code.code),
            );
        }
        (ClockReading::Arc(from, to), Some(ClockExtent::Point))
            if from.is_valid() && to.is_valid() && from != to =>
        {
            out.report_unless(
                shifted,
                row.subject("/clock"),
                format!(
                    "{} is at one hour, but an arc from {from} to {to} o'clock is recorded",
                    code.code
                ),
            );
        }
        _ => {}
    }
}
