//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_dates::{FIRST_CAMERA_YEAR, OUTLIER_DAYS, time_of_run};
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A run is dated more than 300 days from the median of the document's runs, or before 1950.
    ///
    /// # Exceptions
    /// - The date is in the future (`date-in-future`).
    /// - Fewer than three runs are dated, or more than a quarter of them (of four, if there are
    ///   fewer) are that far from the median; a date before 1950 is still reported.
    ///
    /// # Exactly
    /// *Outliers* in Checking; a year is the first four characters.
    ///
    /// # Why it matters
    /// The run is filed as an earlier or later state of its pipe.
    ///
    /// # Source
    /// Common practice, no published source; 1950: before there were cameras in sewers.
    ///
    /// # Fails
    /// At `/runs/2/started`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/started", "value": "2025-05-06T10:48:00-05:00"}, {"op": "replace", "path": "/runs/2/finished", "value": "2025-05-06T10:55:00-05:00"}]
    /// ```
    /// At `/runs/0/started`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/started", "value": "1926-05-06T09:31:00-05:00"}, {"op": "replace", "path": "/runs/0/finished", "value": "1926-05-06T09:44:00-05:00"}]
    /// ```
    ///
    /// # Passes
    /// Begun in December, finished in spring.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/started", "value": "2025-12-06T09:31:00-05:00"}, {"op": "replace", "path": "/runs/0/finished", "value": "2025-12-06T09:44:00-05:00"}]
    /// ```
    ///
    /// # Fix
    /// Correct the date, and check the clock that it came from.
    name: "run-date-outlier", severity: Warning, scope: Ending, since: "0.1", clause: "runs#time",
    concludes_from: ["runs"],
    facts: { "time" = DateTime "`started` of the run, or else `finished`" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    for summary in ending.runs {
        if time_of_run(ending, summary.index).is_none() {
            continue;
        }
        let run = &summary.run;
        let field = if run.started.is_some() { "/started" } else { "/finished" };
        let date = run.started.as_ref().or(run.finished.as_ref()).map_or("", |time| time.as_str());
        let year = date.get(..4).and_then(|year| year.parse::<u16>().ok());
        let message = if year.is_some_and(|year| year < FIRST_CAMERA_YEAR) {
            format!(
                "the run is dated {date}, before there were cameras in sewers ({FIRST_CAMERA_YEAR})"
            )
        } else if ending.is_date_outlier(summary) {
            format!("the run is dated {date}, more than {OUTLIER_DAYS} days from the other runs")
        } else {
            continue;
        };
        out.report(summary.subject(field), message).fact("time", date);
    }
}
