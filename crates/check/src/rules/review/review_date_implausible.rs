//! See the rule's documentation below.

use obvert_model::tables::ReviewStatus;

use crate::sink::Sink;
use crate::support::time::{in_future, instant};
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// A document was checked or released before its runs were made or after it was issued.
    ///
    /// # Exceptions
    /// - The review's date is in the future (`date-in-future`).
    /// - Only one of several runs is later than the review, so that run may be dated wrongly.
    /// - A run is later than `issued` (`issued-before-run`), and the review is not compared with
    ///   `issued`.
    ///
    /// # Exactly
    /// A run's time is `finished`, or else `started`; a time in the future does not count. There is
    /// a finding if
    ///
    /// - two or more runs, or the only one, are later than `review.at`;
    /// - otherwise, if `review.at` is later than `issued` and no run is.
    ///
    /// # Why it matters
    /// The record that was reviewed was another one.
    ///
    /// # Fails
    /// At `/review/at`:
    /// ```json
    /// [{"op": "add", "path": "/review", "value": {"status": "checked", "by": "P-2", "at": "2026-05-06T08:00:00-05:00"}}]
    /// ```
    /// At `/review/at`:
    /// ```json
    /// [{"op": "add", "path": "/review", "value": {"status": "released", "by": "P-2", "at": "2026-05-09T08:00:00-05:00"}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/review", "value": {"status": "released", "by": "P-2", "at": "2026-05-07T09:00:00-05:00"}}]
    /// ```
    ///
    /// # Fix
    /// Correct the time, or review the record again.
    name: "review-date-implausible", severity: Warning, scope: Ending, since: "0.1", clause: "document#assignment-review-revision",
    concludes_from: ["issued"],
    facts: {
        "runs" = Count "runs that were made after the review" if "the review is earlier than the runs",
        "issued" = DateTime "`issued` of the document" if "the review is later than `issued`",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let head = ending.survey.head;
    let Some(review) = head.review.as_ref().filter(|review| review.status != ReviewStatus::Draft)
    else {
        return;
    };
    let Some(at) = review.at.as_ref().filter(|at| !in_future(ending.survey, at)) else { return };
    let (Some(reviewed), Some(issued)) = (instant(at), instant(&head.issued)) else { return };
    let ends = || {
        ending
            .runs
            .iter()
            .filter_map(|summary| summary.run.finished.as_ref().or(summary.started()))
            .filter(|time| !in_future(ending.survey, time))
            .filter_map(instant)
    };
    let (runs, later) = (ends().count(), ends().filter(|end| *end > reviewed).count());
    let early = ends().any(|end| end > issued);
    let status = review.status.as_str();
    if later > 1 || later > 0 && later == runs {
        let message = format!("{status} at {at}, before {later} of {runs} runs were made");
        out.report(Subject::at("/review/at"), message).fact("runs", later);
    } else if reviewed > issued && !early {
        let message = format!("{status} at {at}, after the document was issued at {}", head.issued);
        out.report(Subject::at("/review/at"), message).fact("issued", head.issued.as_str());
    }
}
