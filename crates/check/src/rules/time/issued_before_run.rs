//! See the rule's documentation below.

use obvert_model::text::Timestamp;

use crate::sink::Sink;
use crate::support::time::{in_future, instant};
use crate::views::{Ending, RunSummary, Subject};

rule! {
    /// # What it checks
    /// The document was issued before a run was finished, or started if it has no `finished`.
    ///
    /// # Exceptions
    /// - The run is in the future (`date-in-future`).
    ///
    /// # Exactly
    /// A run's time is `finished`, or else `started`; a time in the future does not count. If two
    /// or more runs, or the only one, are later than `issued`, there is one finding, at `issued`;
    /// otherwise it is at the time of the later run.
    ///
    /// # Why it matters
    /// `issued` tells which of two documents about a survey is newer.
    ///
    /// # Fails
    /// At `/runs/2/finished`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/started", "value": "2026-05-08T10:48:00-05:00"},
    ///  {"op": "replace", "path": "/runs/2/finished", "value": "2026-05-08T10:55:00-05:00"}]
    /// ```
    /// At `/issued`:
    /// ```json
    /// [{"op": "replace", "path": "/issued", "value": "2026-05-05T09:00:00-05:00"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/issued", "value": "2026-05-06T15:55:00Z"}]
    /// ```
    /// A run that ends in the future does not count.
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/finished", "value": "2026-07-08T10:55:00-05:00"},
    ///  {"op": "replace", "path": "/issued", "value": "2026-05-06T15:56:00Z"}]
    /// ```
    ///
    /// # Fix
    /// Set `issued` to when the document was written, or correct the run's date.
    name: "issued-before-run", severity: Warning, scope: Ending, since: "0.1", clause: "conventions#time",
    concludes_from: ["issued"],
    facts: {
        "runs" = Count "runs that are later" if "several runs, or all, are later",
        "of" = Count "runs that have a time" if "several runs, or all, are later",
        "issued" = DateTime "`issued` of the document" if "one run of several is later",
        "time" = DateTime "`finished` of the run, or else `started`" if "one run of several is later",
    },
}

fn last(summary: &RunSummary) -> Option<(&Timestamp, &'static str)> {
    let run = &summary.run;
    let finished = run.finished.as_ref().map(|time| (time, "/finished"));
    finished.or_else(|| run.started.as_ref().map(|time| (time, "/started")))
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let issued = &survey.head.issued;
    let Some(issue) = instant(issued) else { return };
    let late = |time: &Timestamp| instant(time).is_some_and(|instant| instant > issue);
    // Another rule reports times in the future.
    let dated = || {
        let dated = ending.runs.iter().filter_map(|summary| Some((summary, last(summary)?)));
        dated.filter(|(_, (time, _))| !in_future(survey, time))
    };
    let (runs, after) = (dated().count(), dated().filter(|(_, (time, _))| late(time)).count());
    if after == 0 {
        return;
    }
    if after > 1 || runs == after {
        let message = format!(
            "the document was issued at {issued}, before its runs: {after} of {runs} are later"
        );
        out.report(Subject::at("/issued"), message).fact("runs", after).fact("of", runs);
        return;
    }
    for (summary, (time, field)) in dated() {
        if late(time) {
            let message =
                format!("the run's time {time} is after the document was issued at {issued}");
            out.report(summary.subject(field), message)
                .fact("issued", issued.as_str())
                .fact("time", time.as_str());
        }
    }
}
