//! See the rule's documentation below.

use obvert_model::lists::CodeList;

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The document's code list is not available: it is neither built in nor passed to the checker
    /// as a file.
    ///
    /// # Exceptions
    /// - Another version of the list is available (`code-list-version`).
    ///
    /// # Exactly
    /// No version of the list is available.
    ///
    /// # Why it matters
    /// No rule about codes is run, so a report without findings proves little.
    ///
    /// # Fails
    /// At `/coding/list`:
    /// ```json
    /// [{"op": "replace", "path": "/coding/list", "value": "obvert-term"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/coding", "value": {"list": "obvert-terms", "version": "1"}}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/coding", "value": {"list": "en-13508-2", "version": "2003+A1:2011"}}]
    /// ```
    ///
    /// # Fix
    /// Pass the code list to the checker as a file, or correct its id and version.
    name: "code-list-unknown", severity: Warning, scope: Document, since: "0.1", clause: "document#coding-and-grading",
    facts: {
        "list" = Id "the code list that the document names",
        "version" = Text "its version, as the document has it",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    if survey.list.is_some() || !survey.list_versions.is_empty() {
        return;
    }
    let (id, version) = (survey.head.coding.list.as_str(), survey.head.coding.version.as_str());
    let near = out.near(id, CodeList::built_ins().iter().map(|known| known.id.as_str()));
    let finding = out.report(
        Subject::at("/coding/list"),
        format!("the code list {id} {version} is not available, so nothing that depends on codes is checked"),
    );
    finding.fact("list", id).fact("version", version);
    if let Some(near) = near {
        finding.help(format!("Did you mean {near:?}?"));
    }
}
