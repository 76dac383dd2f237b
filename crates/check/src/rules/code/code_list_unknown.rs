//! See the rule's documentation below.

use obvert_model::lists::CodeList;

use crate::sink::Sink;
use crate::views::{Spot, Survey};

rule! {
    /// # What it checks
    /// The document's code list is at hand: built in, or given to the checker as a file.
    ///
    /// # Why it matters
    /// Without the list nothing is known about any code. The rules about codes, clock references, amounts and grades are
    /// then not run, and a clean report would say less than it seems to.
    ///
    /// # Fails
    /// At `/coding/list`:
    /// ```json
    /// [{"op": "replace", "path": "/coding/list", "value": "obvert-term"}]
    /// ```
    /// The list is known, the version is not. At `/coding/version`:
    /// ```json
    /// [{"op": "replace", "path": "/coding/version", "value": "7"}]
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
    /// Give the checker the code list as a file, or correct the list's id and version.
    name: "code-list-unknown", severity: Warning, scope: Document, since: "0.1", clause: "document#coding-and-grading",
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    if survey.list.is_some() {
        return;
    }
    let (id, version) = (survey.head.coding.list.as_str(), survey.head.coding.version.as_str());
    let built_in = CodeList::built_ins();
    let (field, help) = match built_in.iter().find(|known| *known.id == *id) {
        Some(known) => ("/coding/version", Some(format!("version {} of {id} is built in", known.version))),
        None => {
            let near = out.near(id, built_in.iter().map(|known| known.id.as_str()));
            ("/coding/list", near.map(|near| format!("did you mean {near:?}?")))
        }
    };
    let finding = out.report(
        Spot::at(field),
        format!("the code list {id} {version} is not at hand, so nothing that depends on codes is checked"),
    );
    finding.fact("list", id).fact("version", version);
    if let Some(help) = help {
        finding.help(help);
    }
}
