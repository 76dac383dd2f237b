//! See the rule's documentation below.

use obvert_model::edit::Edit;

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// Where the document's code list is at hand, it is at hand in the version that the document names.
    ///
    /// # Why it matters
    /// One mistyped character of a version takes every rule about codes out of the check. A list that nobody has at all may be
    /// the receiving office's own; a version that nobody has of one that everybody has is a mistake, or needs a newer
    /// checker.
    ///
    /// # Fails
    /// At `/coding/version`:
    /// ```json
    /// [{"op": "replace", "path": "/coding/version", "value": "7"}]
    /// ```
    ///
    /// # Passes
    /// A list that is not at hand in any version is another rule's finding.
    /// ```json
    /// [{"op": "replace", "path": "/coding", "value": {"list": "larkmoor-list", "version": "7"}}]
    /// ```
    ///
    /// # Fix
    /// Correct the version, or give the checker that version as a file.
    name: "code-list-version", severity: Error, scope: Document, since: "0.1", clause: "document#coding-and-grading",
    facts: {
        "list" = Id "the code list that the document names",
        "version" = Text "its version, as the document has it",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(newest) = survey.list_versions.last() else { return };
    let (id, version) = (survey.head.coding.list.as_str(), survey.head.coding.version.as_str());
    let has = survey.list_versions.join(", ");
    let message = format!(
        "there is no version {version} of {id} at hand, so nothing that depends on codes is checked; at hand: {has}"
    );
    let finding = out.report(Subject::at("/coding/version"), message).fact("list", id).fact("version", version).help(
        format!("write {newest:?} if that is the version in use, or give the checker version {version} as a file"),
    );
    if let [only] = survey.list_versions.as_slice() {
        let edits = vec![Edit::replace("/coding/version", *only)];
        finding.fix_if_confirmed(format!("the survey is coded in version {only} of {id}"), edits);
    }
}
