//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_dates::{FIRST_CAMERA_YEAR, time_of_run};
use crate::views::Ending;

rule! {
    /// # What it checks
    /// The runs of a document were made within some months of each other: of three or more dated runs none lies more
    /// than 300 days from the median, unless more than a quarter of them do. And no run was made before there were
    /// cameras in sewers, in 1950. A date in the future is left to `date-in-future`.
    ///
    /// # Why it matters
    /// A year was mistyped, or the recorder's clock had fallen back. The run is then filed as an earlier or a later
    /// state of its pipe, and a comparison of the two shows changes that never were.
    ///
    /// # Source
    /// Common practice, no published source.
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
    /// Correct the date, and look at the clock that it came from.
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
        let said = run.started.as_ref().or(run.finished.as_ref()).map_or("", |time| time.as_str());
        let year = said.get(..4).and_then(|year| year.parse::<u16>().ok());
        let message = if year.is_some_and(|year| year < FIRST_CAMERA_YEAR) {
            format!("the run is dated {said}, before any camera was in a sewer")
        } else if ending.is_date_outlier(summary) {
            format!("the run is dated {said}, most of a year or more from the other runs")
        } else {
            continue;
        };
        out.report(summary.subject(field), message).fact("time", said);
    }
}
