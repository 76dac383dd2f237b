//! See the rule's documentation below.

use obvert_model::edit::Edit;

use crate::sink::Sink;
use crate::support::versions::same_version;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The document's code list is available, but not in the version that the document names.
    ///
    /// # Why it matters
    /// No rule about codes is run. The version is mistyped, or a newer checker is needed.
    ///
    /// # Fails
    /// At `/coding/version`:
    /// ```json
    /// [{"op": "replace", "path": "/coding/version", "value": "7"}]
    /// ```
    ///
    /// The same number, written differently. At `/coding/version`:
    /// ```json
    /// [{"op": "replace", "path": "/coding/version", "value": "v1.0"}]
    /// ```
    ///
    /// # Passes
    /// A list of which no version is available (`code-list-unknown`).
    /// ```json
    /// [{"op": "replace", "path": "/coding", "value": {"list": "larkmoor-list", "version": "7"}}]
    /// ```
    ///
    /// # Fix
    /// Correct the version, or pass that version to the checker as a file.
    name: "code-list-version", severity: Error, scope: Document, since: "0.1", clause: "document#coding-and-grading",
    facts: {
        "list" = Id "the code list that the document names",
        "version" = Text "its version, as the document has it",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(newest) = survey.list_versions.last() else { return };
    let (id, version) = (survey.head.coding.list.as_str(), survey.head.coding.version.as_str());
    let available = survey.list_versions.join(", ");
    let message = format!(
        "version {version} of {id} is not available, so nothing that depends on codes is checked; available: {available}"
    );
    let finding = out.report(Subject::at("/coding/version"), message).fact("list", id).fact("version", version).help(
        format!("write {newest:?} if that is the version in use, or pass version {version} to the checker as a file"),
    );
    if let Some(only) = same_version(version, &survey.list_versions) {
        let edits = vec![Edit::replace("/coding/version", only)];
        finding.fix_if_confirmed(format!("the survey is coded in version {only} of {id}"), edits);
    }
}
