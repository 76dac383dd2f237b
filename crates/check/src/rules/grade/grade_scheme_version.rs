//! See the rule's documentation below.

use obvert_model::edit::Edit;

use crate::sink::Sink;
use crate::support::versions::same_version;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The document's grade scheme is available, but not in the version that the document names.
    ///
    /// # Why it matters
    /// No rule about grades is run. The version is mistyped, or a newer checker is needed.
    ///
    /// # Fails
    /// At `/grading/version`:
    /// ```json
    /// [{"op": "replace", "path": "/grading/version", "value": "7"}]
    /// ```
    ///
    /// The same number, written differently. At `/grading/version`:
    /// ```json
    /// [{"op": "replace", "path": "/grading/version", "value": "v1"}]
    /// ```
    ///
    /// # Passes
    /// A scheme of which no version is available (`grade-scheme-unknown`).
    /// ```json
    /// [{"op": "replace", "path": "/grading", "value": {"scheme": "larkmoor-scheme", "version": "7"}}]
    /// ```
    ///
    /// # Fix
    /// Correct the version, or pass that version to the checker as a file.
    name: "grade-scheme-version", severity: Error, scope: Document, since: "0.1", clause: "document#coding-and-grading",
    facts: {
        "scheme" = Id "the grade scheme that the document names",
        "version" = Text "its version, as the document has it",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let (Some(newest), Some(grading)) = (survey.scheme_versions.last(), &survey.head.grading)
    else {
        return;
    };
    let (id, version) = (grading.scheme.as_str(), grading.version.as_str());
    let available = survey.scheme_versions.join(", ");
    let message = format!(
        "version {version} of {id} is not available, so no grade is checked; available: {available}"
    );
    let finding =
        out.report(Subject::at("/grading/version"), message).fact("scheme", id).fact("version", version).help(format!(
            "write {newest:?} if that is the version in use, or pass version {version} to the checker as a file"
        ));
    if let Some(only) = same_version(version, &survey.scheme_versions) {
        let edits = vec![Edit::replace("/grading/version", only)];
        finding.fix_if_confirmed(format!("the grades follow version {only} of {id}"), edits);
    }
}
