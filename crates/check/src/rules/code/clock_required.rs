//! See the rule's documentation below.

use obvert_model::lists::{ClockExtent, ClockUse};

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Causes};
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A code that requires a clock reference is recorded without one.
    ///
    /// # Exceptions
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    ///
    /// # Exactly
    /// `clock` is absent, and `clock.use` of the code is `required`.
    ///
    /// # Why it matters
    /// The place on the wall is needed to open a connection in a lining, or to dig down to a hole.
    ///
    /// # Fails
    /// At `/runs/0/observations/3`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/3/clock"}]
    /// ```
    ///
    /// # Passes
    /// It is optional for roots.
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/5/clock"}]
    /// ```
    ///
    /// # Fix
    /// Add the clock reference from the picture or the video.
    name: "clock-required", severity: Error, scope: Observation, since: "0.1", clause: "observations#clock",
    needs: [Codes],
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let shifted = Causes::default().with(Cause::Shifted, row.run.is_shifted(row.index));
    if row.row.clock.is_some() {
        return;
    }
    if let Some(code) = row.code.filter(|code| code.clock.usage == ClockUse::Required) {
        let form = match code.clock.extent {
            Some(ClockExtent::Point) => "one hour",
            Some(ClockExtent::Span) => "an arc from one hour to another",
            Some(ClockExtent::Either) | None => "one hour, or an arc",
        };
        out.report_unless(
            shifted,
            row.subject(""),
            format!("{} requires a clock reference: {form}", code.code),
        );
    }
}
