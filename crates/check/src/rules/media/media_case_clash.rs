//! See the rule's documentation below.

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::Survey;

rule! {
    /// # What it checks
    /// Two paths in the media table differ only by case.
    ///
    /// # Exactly
    /// Each path is compared with the first in the same lower-case form, unless equal to it.
    ///
    /// # Why it matters
    /// `IMG_1.JPG` and `img_1.jpg` are two files on one computer and one on another: copied there,
    /// one overwrites the other.
    ///
    /// # Fails
    /// At `/media/2/file`:
    /// ```json
    /// [{"op": "replace", "path": "/media/2/file", "value": "photos/LM014_001.JPG"}]
    /// ```
    /// Each that differs from the first, at `/media/2/file`:
    /// ```json
    /// [{"op": "add", "path": "/media/-", "value": {"id": "M-4", "file": "photos/lm014_001.jpg", "kind": "photo", "run": "R-101"}},
    ///  {"op": "replace", "path": "/media/2/file", "value": "photos/LM014_001.JPG"}]
    /// ```
    ///
    /// # Passes
    /// `media-file-duplicate` reports equal paths.
    /// ```json
    /// [{"op": "replace", "path": "/media/2/file", "value": "photos/lm014_001.jpg"}]
    /// ```
    ///
    /// # Fix
    /// Rename one of the two files, and its row.
    name: "media-case-clash", severity: Warning, scope: Document, since: "0.1", clause: "media#paths",
    concludes_from: ["media", "media.file"],
    facts: { "other" = Text "the first path that differs only by case" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let mut first: FxHashMap<String, &str> = FxHashMap::default();
    for view in survey.all_media() {
        let file = view.media.file.as_str();
        let other = *first.entry(file.to_lowercase()).or_insert(file);
        if other != file {
            let message = format!("{file:?} and {other:?} differ only by case");
            out.report(view.subject("/file"), message).fact("other", other);
        }
    }
}
