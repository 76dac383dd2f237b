//! See the rule's documentation below.

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::{MediaView, Survey};

rule! {
    /// # What it checks
    /// Two media files of different names have the same content, by `sha256`.
    ///
    /// # Why it matters
    /// One picture under two names is presented as proof of two defects.
    ///
    /// # Fails
    /// At `/media/2/sha256`:
    /// ```json
    /// [{"op": "add", "path": "/media/0/sha256", "value": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
    ///  {"op": "add", "path": "/media/2/sha256", "value": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/media/0/sha256", "value": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"}]
    /// ```
    ///
    /// # Fix
    /// Find the picture that belongs to the second row.
    name: "media-same-content", severity: Warning, scope: Document, since: "0.1", clause: "media#paths",
    facts: { "first" = Id "the first row with the content" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let mut first: FxHashMap<&str, MediaView<'_>> = FxHashMap::default();
    for view in survey.all_media() {
        let Some(digest) = &view.media.sha256 else { continue };
        let other = first.entry(digest).or_insert(view).media;
        // `media-file-duplicate` reports two rows of one file.
        if other.file != view.media.file {
            let message = format!("{:?} has the same content as {:?}", view.media.file, other.file);
            out.report(view.subject("/sha256"), message).fact("first", other.id.as_str());
        }
    }
}
