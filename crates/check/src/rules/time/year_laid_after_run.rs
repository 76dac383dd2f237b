//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::time::in_future;
use crate::views::{Ending, RunSummary};

rule! {
    /// # What it checks
    /// A pipe was laid in a year after that of a run through it.
    ///
    /// # Exceptions
    /// - The year or the run is in the future (`date-in-future`).
    /// - The run is dated far from the others (`run-date-outlier`).
    ///
    /// # Exactly
    /// By the years of `started` and of today.
    ///
    /// # Why it matters
    /// The run went through an older pipe, or a year is mistyped.
    ///
    /// # Fails
    /// At `/pipes/0/laid`:
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/laid", "value": 2026}, {"op": "replace", "path": "/runs/0/started", "value": "2025-12-31T09:31:00-05:00"}]
    /// ```
    ///
    /// # Passes
    /// In the year of the run.
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/laid", "value": 2026}]
    /// ```
    ///
    /// # Fix
    /// Correct the year, or assign the run to the pipe that it went through.
    name: "year-laid-after-run", severity: Error, scope: Ending, since: "0.1", clause: "runs#time",
    facts: {
        "laid" = Year "the year, as recorded",
        "run" = Id "the first run in an earlier year",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let year = |text: &str| text.get(..4).and_then(|year| year.parse::<u16>().ok());
    let today = survey.today.and_then(|today| year(today));
    for view in survey.pipes() {
        let Some(laid) =
            view.pipe.laid.filter(|laid| today.is_none_or(|today| laid.get() <= today))
        else {
            continue;
        };
        let made = |summary: &RunSummary| {
            let time = summary
                .started()
                .filter(|time| !in_future(survey, time) && !ending.is_date_outlier(summary))?;
            year(time)
        };
        let earlier = |summary: &&RunSummary| made(summary).is_some_and(|made| made < laid.get());
        if let Some(summary) = ending.runs_of(&view.pipe.id).find(earlier) {
            let (id, made) = (summary.run.id.as_str(), made(summary).unwrap_or_default());
            let message =
                format!("the pipe was laid in {laid}, but run {id:?} went through it in {made}");
            out.report(view.subject("/laid"), message).fact("laid", laid.get()).fact("run", id);
        }
    }
}
