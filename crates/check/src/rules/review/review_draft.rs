//! See the rule's documentation below.

use obvert_model::tables::ReviewStatus;

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The document is a draft.
    ///
    /// # Why it matters
    /// It may be taken for a record that was checked.
    ///
    /// # Fails
    /// At `/review/status`:
    /// ```json
    /// [{"op": "add", "path": "/review", "value": {"status": "draft"}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/review", "value": {"status": "checked", "by": "P-2", "at": "2026-05-07T08:00:00-05:00"}}]
    /// ```
    ///
    /// # Fix
    /// Review the record and set the status to `checked` or `released`.
    name: "review-draft", severity: Note, scope: Document, since: "0.1", clause: "document#assignment-review-revision",
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    if survey.head.review.as_ref().is_some_and(|review| review.status == ReviewStatus::Draft) {
        out.report(Subject::at("/review/status"), "the document is still a draft");
    }
}
