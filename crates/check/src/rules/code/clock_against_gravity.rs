//! See the rule's documentation below.

use obvert_model::tables::ClockReading;

use crate::sink::Sink;
use crate::support::clock::hours_outside;
use crate::support::column_votes::{Cause, Causes};
use crate::support::terms::Term;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// Something that lies in the bottom of the pipe, or is worn into it, is recorded above the
    /// bottom; or gas attack, which is above the water, at the bottom alone.
    ///
    /// # Exceptions
    /// - A clock hour is not valid (`clock-range`).
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    /// - A drop pipe (`fitting.drop`) is recorded within `drop` before the row: the pipe is upright
    ///   there.
    ///
    /// # Exactly
    /// By the code, or the code of `obvert-terms` that it links to:
    ///
    /// - `deposit.settled`, `deposit.hardened`, `surface.invert-worn` and `brick.invert-sunk`: the
    ///   hour, or the nearest hour of the arc, is `hours` or more from 6 o'clock.
    /// - `obstacle.object`, `obstacle.masonry`, `obstacle.pipe-piece`, `obstacle.rubble` and
    ///   `obstacle.tool`, which can be wedged: it is more than `hours` from 6 o'clock.
    /// - `surface.gas-attack`: the hour, or the whole arc, is from 5 to 7 o'clock.
    ///
    /// # Why it matters
    /// The clock is turned over, or the code is wrong: a deposit at the top is attached to the wall
    /// (`deposit.attached`, `deposit.encrusted`, `deposit.grease`) and cleaned in another way.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/clock`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 3, "code": "deposit.settled", "characterisation": ["fine"], "clock": {"from": 11, "to": 1},
    ///    "quantities": [{"value": 10, "unit": "percent"}], "grades": {"operational": 2}}}]
    /// ```
    /// At `/runs/0/observations/2/clock`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 3, "code": "surface.invert-worn", "clock": {"at": 12}}}]
    /// ```
    ///
    /// # Passes
    /// In the bottom.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 3, "code": "deposit.settled", "characterisation": ["fine"], "clock": {"from": 4, "to": 8},
    ///    "quantities": [{"value": 10, "unit": "percent"}], "grades": {"operational": 2}}}]
    /// ```
    /// A crust hangs at the crown.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 3, "code": "deposit.encrusted", "clock": {"at": 12},
    ///    "quantities": [{"value": 10, "unit": "percent"}], "grades": {"operational": 2}}}]
    /// ```
    ///
    /// # Fix
    /// Read the clock again from the picture: 12 is the top, 6 the bottom. If it is right, choose
    /// the code of a deposit or damage that can be there.
    name: "clock-against-gravity", severity: Warning, scope: Run, since: "0.1", clause: "observations#clock",
    needs: [Codes],
    limits: {
        "hours" = 3.0 "hours" "how far from 6 o'clock something in the bottom may be; common practice",
        "drop" = 5.0 "m" "the length after a drop pipe in which the clock is not judged; common practice",
    },
}

/// What lies in the bottom, or is a part of it.
const BOTTOM: [&str; 4] =
    ["deposit.settled", "deposit.hardened", "surface.invert-worn", "brick.invert-sunk"];

/// What lies in the bottom unless it is wedged.
const LOOSE: [&str; 5] = [
    "obstacle.object",
    "obstacle.masonry",
    "obstacle.pipe-piece",
    "obstacle.rubble",
    "obstacle.tool",
];

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let mut upright_from = None;
    for row in run.rows() {
        let Some(Term { code, .. }) = row.term() else { continue };
        let metres = run.survey.metres(row.row.at);
        if code == "fitting.drop" {
            upright_from = Some(metres);
        }
        let Some(reading) = row.row.clock.as_ref().and_then(|clock| clock.reading()) else {
            continue;
        };
        let upright = |from: f64| (0.0..=out.limit("drop")).contains(&(metres - from));
        if is_valid(reading) && !upright_from.is_some_and(upright) {
            judge(&row, code, reading, out);
        }
    }
}

fn is_valid(reading: ClockReading) -> bool {
    match reading {
        ClockReading::Point(at) => at.is_valid(),
        ClockReading::Arc(from, to) => from.is_valid() && to.is_valid(),
    }
}

fn judge(row: &RowView<'_>, code: &str, reading: ClockReading, out: &mut Sink<'_>) {
    let (above, most) = (hours_outside(reading, 6.0), out.limit("hours"));
    let (what, place) =
        if BOTTOM.contains(&code) && above >= most || LOOSE.contains(&code) && above > most {
            ("in the bottom", "above it")
        } else if code == "surface.gas-attack" && is_at_bottom(reading) {
            ("above the water", "at the bottom")
        } else {
            return;
        };
    let hours = match reading {
        ClockReading::Point(at) => format!("at {at} o'clock"),
        ClockReading::Arc(from, to) => format!("from {from} to {to} o'clock"),
    };
    let name = &row.row.code;
    let column = Causes::from(Cause::ClockUnit).with(Cause::Shifted, row.run.is_shifted(row.index));
    out.report_unless(
        column,
        row.subject("/clock"),
        format!("{name} is {what} of a pipe, but it is recorded {place}, {hours}"),
    );
}

/// Whether all of a reading is from 5 to 7 o'clock.
fn is_at_bottom(reading: ClockReading) -> bool {
    let near = |hour: f64| (5.0..=7.0).contains(&hour);
    match reading {
        ClockReading::Point(at) => near(at.get()),
        ClockReading::Arc(from, to) => near(from.get()) && near(to.get()) && from.get() < to.get(),
    }
}
