//! See the rule's documentation below.

use jiff::Timestamp;
use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::support::run_dates::time_of_run;
use crate::support::time::start_of_day;
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// The distance counter of equipment was calibrated too long before the last run that was made
    /// with it. There is one finding for the equipment.
    ///
    /// # Exceptions
    /// - Runs that are in the future or dated far from the others do not count (`date-in-future`,
    ///   `run-date-outlier`).
    ///
    /// # Exactly
    /// Runs count by `started`, or else `finished`; a day is 24 hours.
    ///
    /// # Why it matters
    /// Wheels wear and cables stretch, so the error of the distances is not known.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/equipment/0/calibrated`:
    /// ```json
    /// [{"op": "add", "path": "/equipment/0/calibrated", "value": "2024-04-21"}]
    /// ```
    ///
    /// # Passes
    /// A year is the limit.
    /// ```json
    /// [{"op": "add", "path": "/equipment/0/calibrated", "value": "2025-05-06"}]
    /// ```
    ///
    /// # Fix
    /// Have the counter calibrated, or add the date if it was.
    name: "calibration-old", severity: Note, scope: Ending, since: "0.1", clause: "equipment#references",
    limits: {
        "oldest" = 366.0 "days" "how old a calibration may be: a year, common practice, no published source",
    },
    facts: {
        "days" = Days "from 00:00 UTC of the day of the calibration to the last run with the equipment",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    if survey.head.equipment.iter().all(|row| row.calibrated.is_none()) {
        return;
    }
    let mut last: FxHashMap<usize, (Timestamp, usize)> = FxHashMap::default();
    for summary in ending.runs {
        let Some(time) =
            time_of_run(ending, summary.index).filter(|_| !ending.is_date_outlier(summary))
        else {
            continue;
        };
        for row in summary.run.equipment.iter().filter_map(|id| survey.equipment_index(id)) {
            let latest = last.entry(row).or_insert((time, summary.index));
            *latest = (*latest).max((time, summary.index));
        }
    }
    for (row, equipment) in survey.head.equipment.iter().enumerate() {
        let (Some(calibrated), Some((used, index))) = (&equipment.calibrated, last.get(&row))
        else {
            continue;
        };
        let Some(on) = start_of_day(calibrated) else { continue };
        let days = used.duration_since(on).as_secs_f64() / 86_400.0;
        if days > out.limit("oldest") {
            let run = ending.runs[*index].run.id.as_str();
            let message = format!(
                "calibrated on {calibrated}, {days:.0} days before run {run:?} was made with it"
            );
            out.report(Subject::at(format!("/equipment/{row}/calibrated")), message)
                .fact("days", days);
        }
    }
}
