//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::time::{for_each_date, is_date};
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A date is not in the calendar.
    ///
    /// # Why it matters
    /// Other software rejects the record or reads another day.
    ///
    /// # Source
    /// RFC 3339 section 5.7: the day may not exceed the days of its month.
    ///
    /// # Fails
    /// At `/runs/0/started`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/started", "value": "2026-02-30T09:31:00-05:00"}]
    /// ```
    /// At `/equipment/0/calibrated`:
    /// ```json
    /// [{"op": "add", "path": "/equipment/0/calibrated", "value": "2025-02-29"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/equipment/0/calibrated", "value": "2024-02-29"}]
    /// ```
    ///
    /// # Fix
    /// Correct the date.
    name: "date-invalid", severity: Error, scope: Ending, since: "0.1", clause: "conventions#time",
    facts: { "date" = Date "the date, or the date of the date and time, as recorded" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    for_each_date(ending, &mut |time, subject| {
        let date = time.get(..10).unwrap_or(time);
        if !is_date(date) {
            out.report(subject(), format!("{date} is not in the calendar")).fact("date", date);
        }
    });
}
