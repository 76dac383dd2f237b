//! See the rule's documentation below.

use obvert_model::tables::ReviewStatus;

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// A document is checked or released, but `review.by` or `review.at` is missing.
    ///
    /// # Why it matters
    /// When something turns out wrong, the owner first asks who released the record.
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
    /// A draft has no reviewer.
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
    let Some(review) =
        survey.head.review.as_ref().filter(|review| review.status != ReviewStatus::Draft)
    else {
        return;
    };
    let lacks = match (&review.by, &review.at) {
        (None, None) => "by whom and when",
        (None, Some(_)) => "by whom",
        (Some(_), None) => "when",
        (Some(_), Some(_)) => return,
    };
    let status = review.status.as_str();
    out.report(
        Subject::at("/review"),
        format!("the document is {status} but does not state {lacks}"),
    )
    .fact("status", status);
}
