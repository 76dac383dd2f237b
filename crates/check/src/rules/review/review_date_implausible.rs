//! See the rule's documentation below.

use obvert_model::tables::ReviewStatus;

use crate::sink::Sink;
use crate::support::time::{in_future, instant};
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// A document was checked or released after its runs were made and before it was issued. A single run that is later may
    /// be dated wrongly and is not held against the review; neither is an issue before the runs (`issued-before-run`) nor
    /// a time in the future.
    ///
    /// # Why it matters
    /// What was looked through was not this record: runs were added afterwards, or the review was copied from another
    /// document.
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
    /// Correct the time, or have the record looked through again.
    name: "review-date-implausible", severity: Warning, scope: Ending, since: "0.1", clause: "document#assignment-review-revision",
    concludes_from: ["issued"],
    facts: {
        "runs" = Count "runs that were made after the review" if "they are several, or all",
        "issued" = DateTime "`issued` of the document" if "the review is after it",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let head = ending.survey.head;
    let Some(review) = head.review.as_ref().filter(|review| review.status != ReviewStatus::Draft) else { return };
    let Some(at) = review.at.as_ref().filter(|at| !in_future(ending.survey, at)) else { return };
    let (Some(reviewed), Some(issued)) = (instant(at), instant(&head.issued)) else { return };
    let ends =
        || ending.runs.iter().filter_map(|summary| instant(summary.run.finished.as_ref().or(summary.started())?));
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
