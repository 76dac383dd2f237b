//! See the rule's documentation below.

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::{MediaView, Survey};

rule! {
    /// # What it checks
    /// Two rows of the media table name the same file.
    ///
    /// # Why it matters
    /// Usually a second picture was never saved, or was overwritten under the name of the first.
    ///
    /// # Fails
    /// At `/media/2/file`:
    /// ```json
    /// [{"op": "replace", "path": "/media/2/file", "value": "photos/lm014_001.jpg"}]
    /// ```
    ///
    /// # Passes
    /// Two observations refer to one row.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/media/-", "value": {"id": "M-1"}}]
    /// ```
    ///
    /// # Fix
    /// Name the file of the second row, or let the observations refer to one row.
    name: "media-file-duplicate", severity: Warning, scope: Document, since: "0.1", clause: "media#paths",
    facts: { "first" = Id "the first row of the file" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let mut first: FxHashMap<&str, MediaView<'_>> = FxHashMap::default();
    for view in survey.all_media() {
        let file = &view.media.file;
        let other = first.entry(file).or_insert(view);
        if other.index != view.index {
            let id = other.media.id.as_str();
            let message = format!("the file {file:?} is already named by the row {id}");
            out.report(view.subject("/file"), message).fact("first", id);
        }
    }
}
