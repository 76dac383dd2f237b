//! See the rule's documentation below.

use obvert_model::tables::ReviewStatus;

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// A document that is said to be checked or released says who did that, and when.
    ///
    /// # Why it matters
    /// A release that nobody signed is none. When something turns out wrong, the owner asks first who let it through.
    ///
    /// # Fails
    /// At `/review`:
    /// ```json
    /// [{"op": "add", "path": "/review", "value": {"status": "released", "at": "2026-05-07T08:00:00-05:00"}}]
    /// ```
    /// At `/review`:
    /// ```json
    /// [{"op": "add", "path": "/review", "value": {"status": "checked", "by": "P-2"}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/review", "value": {"status": "checked", "by": "P-2", "at": "2026-05-07T08:00:00-05:00"}}]
    /// ```
    /// A draft has not been looked through by anybody.
    /// ```json
    /// [{"op": "add", "path": "/review", "value": {"status": "draft"}}]
    /// ```
    ///
    /// # Fix
    /// Add `by` and `at`, or set the status back to `draft`.
    name: "review-incomplete", severity: Warning, scope: Document, since: "0.1", clause: "document#assignment-review-revision",
    facts: { "status" = Word "the status, as recorded" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(review) = survey.head.review.as_ref().filter(|review| review.status != ReviewStatus::Draft) else {
        return;
    };
    let lacks = match (&review.by, &review.at) {
        (None, None) => "by whom and when",
        (None, Some(_)) => "by whom",
        (Some(_), None) => "when",
        (Some(_), Some(_)) => return,
    };
    let status = review.status.as_str();
    out.report(Subject::at("/review"), format!("the document is {status}, but not said {lacks}"))
        .fact("status", status);
}
