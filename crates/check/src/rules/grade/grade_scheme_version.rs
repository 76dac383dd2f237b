//! See the rule's documentation below.

use obvert_model::edit::Edit;

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// Where the document's grade scheme is at hand, it is at hand in the version that the document names.
    ///
    /// # Why it matters
    /// One mistyped character of a version takes every rule about grades out of the check. A list that nobody has at all may be
    /// the receiving office's own; a version that nobody has of one that everybody has is a mistake, or needs a newer
    /// checker.
    ///
    /// # Fails
    /// At `/grading/version`:
    /// ```json
    /// [{"op": "replace", "path": "/grading/version", "value": "7"}]
    /// ```
    ///
    /// # Passes
    /// A scheme that is not at hand in any version is another rule's finding.
    /// ```json
    /// [{"op": "replace", "path": "/grading", "value": {"scheme": "larkmoor-scheme", "version": "7"}}]
    /// ```
    ///
    /// # Fix
    /// Correct the version, or give the checker that version as a file.
    name: "grade-scheme-version", severity: Error, scope: Document, since: "0.1", clause: "document#coding-and-grading",
    facts: {
        "scheme" = Id "the grade scheme that the document names",
        "version" = Text "its version, as the document has it",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let (Some(newest), Some(grading)) = (survey.scheme_versions.last(), &survey.head.grading) else { return };
    let (id, version) = (grading.scheme.as_str(), grading.version.as_str());
    let has = survey.scheme_versions.join(", ");
    let message = format!("there is no version {version} of {id} at hand, so no grade is checked; at hand: {has}");
    let finding =
        out.report(Subject::at("/grading/version"), message).fact("scheme", id).fact("version", version).help(format!(
            "write {newest:?} if that is the version in use, or give the checker version {version} as a file"
        ));
    if let [only] = survey.scheme_versions.as_slice() {
        let edits = vec![Edit::replace("/grading/version", *only)];
        finding.fix_if_confirmed(format!("the grades follow version {only} of {id}"), edits);
    }
}
