//! See the rule's documentation below.

use obvert_model::lists::ClockUse;
use obvert_model::number::ClockHour;

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Causes};
use crate::views::{Part, Subject};

rule! {
    /// # What it checks
    /// A clock hour is not one of 1, 1.5, 2, …, 12.5: in an observation, in `joins` of a lateral,
    /// or in `launched` of a run.
    ///
    /// # Exceptions
    /// - The code takes no clock reference (`clock-not-applicable`).
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    ///
    /// # Exactly
    /// The exception is for observations, and needs the code list.
    ///
    /// # Why it matters
    /// 0 and 13 come from 24-hour counting or a typing error, and are read as another place on the
    /// wall.
    ///
    /// # Source
    /// EN 13508-2, 8.1.5 (from memory): hours from 1 to 12, clockwise. The halves are the format's
    /// own.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/clock/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/clock/at", "value": 13}]
    /// ```
    /// At `/runs/0/observations/2/clock/from`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/clock/from", "value": 0}]
    /// ```
    /// At `/pipes/1/joins/clock`:
    /// ```json
    /// [{"op": "remove", "path": "/pipes/1/downstream"},
    ///  {"op": "add", "path": "/pipes/1/joins", "value": {"pipe": "L-101", "at": 31.9, "clock": 2.25}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/clock/at", "value": 12.5}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/clock/at", "value": 1}]
    /// ```
    ///
    /// # Fix
    /// Read the hour again from the picture: 12 is the top, 6 the bottom, clockwise in the
    /// direction of travel.
    name: "clock-range", severity: Error, scope: Throughout, since: "0.1", clause: "observations#clock",
    facts: { "hour" = ClockHour "the hour, as recorded" },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    match part {
        Part::Head(survey) => {
            for view in survey.pipes() {
                let clock = view.pipe.joins.as_ref().and_then(|joins| joins.clock);
                judge(clock, Causes::default(), || view.subject("/joins/clock"), out);
            }
        }
        Part::Run(run) => {
            let column = Causes::from(Cause::ClockUnit);
            let clock = run.run.launched.as_ref().and_then(|launched| launched.clock);
            judge(clock, Causes::default(), || run.subject("/launched/clock"), out);
            for row in run.rows() {
                let Some(clock) = &row.row.clock else { continue };
                if row.code.is_some_and(|code| code.clock.usage == ClockUse::None) {
                    continue;
                }
                judge(clock.at, column, || row.subject("/clock/at"), out);
                judge(clock.from, column, || row.subject("/clock/from"), out);
                judge(clock.to, column, || row.subject("/clock/to"), out);
            }
        }
    }
}

/// Reports an invalid hour. A mistake in the whole column explains 0 and hours from 13 on.
fn judge(
    hour: Option<ClockHour>,
    column: Causes,
    subject: impl FnOnce() -> Subject,
    out: &mut Sink<'_>,
) {
    let Some(hour) = hour.filter(|hour| !hour.is_valid()) else { return };
    let value = hour.get();
    let why = if value == 0.0 {
        "the top of the pipe is 12"
    } else if (0.0..1.0).contains(&value) {
        "between 12 and 1 is 12.5"
    } else if (1.0..13.0).contains(&value) {
        "hours are in steps of 0.5"
    } else {
        "hours are from 1 to 12.5"
    };
    let column = if value == 0.0 || value >= 13.0 { column } else { Causes::default() };
    let message = format!("{hour} is not a clock reference: {why}");
    let finding = out.report_unless(column, subject(), message).fact("hour", value);
    // An empty cell is exported as 0 too, so the top of the pipe is only one of two meanings.
    if value == 0.0 {
        finding.help(
            "write 12 if the top of the pipe was meant; if nothing was entered, read the hour from \
             the picture: 12 is the top, 6 the bottom, clockwise in the direction of travel",
        );
    }
}
