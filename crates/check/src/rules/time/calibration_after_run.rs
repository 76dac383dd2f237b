//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_dates::time_of_run;
use crate::support::time::start_of_day;
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// The distance counter of equipment was calibrated after a run that was made with it. There is
    /// one finding for the equipment.
    ///
    /// # Exceptions
    /// - The calibration is after today, or the run is in the future (`date-in-future`).
    /// - The run is dated far from the others (`run-date-outlier`).
    ///
    /// # Exactly
    /// `calibrated` is later than the day of the run, the first ten characters of `started` or else
    /// of `finished`.
    ///
    /// # Why it matters
    /// The distances of the run do not include what the calibration found.
    ///
    /// # Fails
    /// At `/equipment/0/calibrated`:
    /// ```json
    /// [{"op": "add", "path": "/equipment/0/calibrated", "value": "2026-05-20"}]
    /// ```
    ///
    /// The day after, at `/equipment/0/calibrated`:
    /// ```json
    /// [{"op": "add", "path": "/equipment/0/calibrated", "value": "2026-05-07"}]
    /// ```
    ///
    /// # Passes
    /// On the day of the run.
    /// ```json
    /// [{"op": "add", "path": "/equipment/0/calibrated", "value": "2026-05-06"}]
    /// ```
    ///
    /// # Fix
    /// State in a remark of the runs what the calibration found, or correct the date.
    name: "calibration-after-run", severity: Note, scope: Ending, since: "0.1", clause: "equipment#references",
    facts: { "runs" = Count "runs with the equipment before its calibration" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    for (row, equipment) in survey.head.equipment.iter().enumerate() {
        let Some(calibrated) = &equipment.calibrated else { continue };
        let future = survey.today.is_some_and(|today| calibrated.as_str() > today.as_str());
        if future || start_of_day(calibrated).is_none() {
            continue;
        }
        let runs =
            ending.runs.iter().filter(|summary| summary.run.equipment.contains(&equipment.id));
        let before = runs.filter(|summary| {
            let dated =
                time_of_run(ending, summary.index).is_some() && !ending.is_date_outlier(summary);
            let run = summary.run.started.as_ref().or(summary.run.finished.as_ref());
            dated
                && run.is_some_and(|time| {
                    time.as_str().get(..10).is_some_and(|day| day < calibrated.as_str())
                })
        });
        let before: Vec<_> = before.collect();
        if let Some(first) = before.first() {
            let (id, runs) = (first.run.id.as_str(), before.len());
            let message = match runs {
                1 => format!("calibrated on {calibrated}, after run {id:?} was made with it"),
                _ => format!(
                    "calibrated on {calibrated}, after {runs} runs were made with it, such as {id:?}"
                ),
            };
            out.report(Subject::at(format!("/equipment/{row}/calibrated")), message)
                .fact("runs", runs);
        }
    }
}
