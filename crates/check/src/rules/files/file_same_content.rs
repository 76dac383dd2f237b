//! See the rule's documentation below.

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::{MediaView, Survey};

rule! {
    /// # What it checks
    /// Two files of different names have the same content.
    ///
    /// # Exactly
    /// The SHA-256 of both files is equal, and that of the rows is not (`media-same-content`).
    ///
    /// # Why it matters
    /// One picture under two names is presented as proof of two defects.
    ///
    /// # Fails
    /// At `/media/2/file`:
    /// ```json
    /// [{"op": "replace", "path": "/files/photos~1lm015_001.jpg/sha256", "value": "fcde2b2edba56bf408601fb721fe9b5c338d10ee429ea04fae5511b68fbf8fb9"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// []
    /// ```
    /// Both rows have the digest (`media-same-content`).
    /// ```json
    /// [{"op": "replace", "path": "/files/photos~1lm015_001.jpg/sha256", "value": "fcde2b2edba56bf408601fb721fe9b5c338d10ee429ea04fae5511b68fbf8fb9"},
    ///  {"op": "add", "path": "/media/0/sha256", "value": "fcde2b2edba56bf408601fb721fe9b5c338d10ee429ea04fae5511b68fbf8fb9"},
    ///  {"op": "add", "path": "/media/2/sha256", "value": "fcde2b2edba56bf408601fb721fe9b5c338d10ee429ea04fae5511b68fbf8fb9"}]
    /// ```
    ///
    /// # Fix
    /// Find the picture that belongs to the second row.
    name: "file-same-content", severity: Warning, scope: Document, since: "0.2", clause: "media#files",
    needs: [Files],
    facts: {
        "first" = Id "the first row with the content",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let mut first: FxHashMap<&str, MediaView<'_>> = FxHashMap::default();
    for view in survey.all_media() {
        let Some(digest) = view.readable_file().and_then(|file| file.sha256.as_deref()) else {
            continue;
        };
        let other = first.entry(digest).or_insert(view).media;
        let (one, two) = (&other.sha256, &view.media.sha256);
        let recorded = one.is_some() && one == two;
        // `media-file-duplicate` reports two rows of one file.
        if other.file != view.media.file && !recorded {
            let message = format!("{:?} has the same content as {:?}", view.media.file, other.file);
            out.report(view.subject("/file"), message).fact("first", other.id.as_str());
        }
    }
}
