//! See the rule's documentation below.

use obvert_model::edit::Edit;

use crate::sink::Sink;
use crate::support::texts::UnusualText;
use crate::views::Part;

rule! {
    /// # What it checks
    /// An id, name, number or free text begins or ends with white space.
    ///
    /// # Exactly
    /// Checked are texts without a form that are neither references nor items of lists, except
    /// `$schema`, `coding`, `grading`, `revises`, `code`, `file` and extensions.
    ///
    /// # Why it matters
    /// `LM-014` and `LM-014 ` look the same and are two structures to software.
    ///
    /// # Fails
    /// At `/parties/1/name`:
    /// ```json
    /// [{"op": "replace", "path": "/parties/1/name", "value": "Heron Drain Survey "}]
    /// ```
    /// At `/runs/0/observations/3/remark`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/remark", "value": "\tdry"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/remark", "value": "dry,  and clean"}]
    /// ```
    ///
    /// # Fix
    /// Remove the white space, for an id everywhere it is used.
    name: "text-untrimmed", severity: Note, scope: Throughout, since: "0.1", clause: "conventions#text",
    facts: { "text" = Text "the text, as recorded" },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    for UnusualText { text, subject } in part.unusual_texts() {
        if text.len() != text.trim().len() {
            let end = if text.starts_with(char::is_whitespace) { "begins" } else { "ends" };
            // An id has to change everywhere it is used, and that takes the whole document.
            let local = !subject.path.ends_with("/id") && !text.trim().is_empty();
            let edits = local.then(|| vec![Edit::replace(subject.path.as_str(), text.trim())]);
            let finding = out
                .report(subject.clone(), format!("{text:?} {end} with white space"))
                .fact("text", text.as_str());
            if let Some(edits) = edits {
                finding.fix_safely("removes the white space", edits);
            }
        }
    }
}
