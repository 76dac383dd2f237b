//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// `revises` names the document's own id.
    ///
    /// # Why it matters
    /// The two documents cannot be told apart, and one of them is lost on receipt.
    ///
    /// # Fails
    /// At `/revises/id`:
    /// ```json
    /// [{"op": "add", "path": "/revises", "value": {"id": "urn:uuid:3f0e7a52-9d27-4a8e-8a63-5a1c2f1f7b10"}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/revises", "value": {"id": "urn:uuid:0b5e6d1c-2f43-4b1a-9d0e-7c8a6f5e4d3c"}}]
    /// ```
    ///
    /// # Fix
    /// Give the new document a new id.
    name: "revises-itself", severity: Error, scope: Document, since: "0.1", clause: "document#assignment-review-revision",
    concludes_from: ["id"],
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    if survey.head.revises.as_ref().is_some_and(|revises| *revises.id == *survey.head.id) {
        out.report(Subject::at("/revises/id"), "revises names this document's own id");
    }
}
