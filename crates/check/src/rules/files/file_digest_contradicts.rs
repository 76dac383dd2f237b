//! See the rule's documentation below.

use obvert_model::tables::MediaState;

use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The SHA-256 of a file is not that in its row.
    ///
    /// # Exactly
    /// A file is not compared if its row has the state `truncated`, or `bytes` is not its size
    /// (`file-size-contradicts`).
    ///
    /// # Why it matters
    /// The file is not the one that was recorded: it was exchanged or changed.
    ///
    /// # Fails
    /// At `/media/0/sha256`:
    /// ```json
    /// [{"op": "add", "path": "/media/0/sha256", "value": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/media/0/sha256", "value": "fcde2b2edba56bf408601fb721fe9b5c338d10ee429ea04fae5511b68fbf8fb9"}]
    /// ```
    /// The size differs too (`file-size-contradicts`).
    /// ```json
    /// [{"op": "add", "path": "/media/0/bytes", "value": 1},
    ///  {"op": "add", "path": "/media/0/sha256", "value": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"}]
    /// ```
    ///
    /// # Fix
    /// Look for the file that belongs to the row. If the file is right, correct `sha256`.
    name: "file-digest-contradicts", severity: Error, scope: Media, since: "0.2", clause: "media#files",
    needs: [Files],
    facts: {
        "digest" = Text "the SHA-256 of the file, in hexadecimal",
    },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let (Some(file), Some(recorded)) = (view.readable_file(), &view.media.sha256) else { return };
    let Some(actual) = &file.sha256 else { return };
    let other_size = view.media.bytes.is_some_and(|bytes| bytes.get() != file.bytes);
    let truncated = view.media.state == Some(MediaState::Truncated);
    if recorded.eq_ignore_ascii_case(actual) || other_size || truncated {
        return;
    }
    let message = format!("the content of {:?} is not what was recorded", view.media.file.as_str());
    out.report(view.subject("/sha256"), message).fact("digest", actual.as_str());
}
