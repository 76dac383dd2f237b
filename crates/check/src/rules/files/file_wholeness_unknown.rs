//! See the rule's documentation below.

use obvert_model::tables::MediaState;

use crate::sink::Sink;
use crate::views::MediaView;
use crate::wholeness::Wholeness;

rule! {
    /// # What it checks
    /// The format of a file does not show whether it is whole, and nothing in its row does.
    ///
    /// # Exactly
    /// No finding if `state` is `truncated`, or if the row has `sha256` and the digest of the file
    /// is known, or `duration` and that of the file is known.
    ///
    /// # Why it matters
    /// A film that was cut off may look like a whole one: it just ends early.
    ///
    /// # Fails
    /// At `/media/1/file`:
    /// ```json
    /// [{"op": "replace", "path": "/files/videos~1r101.mp4/wholeness", "value": {"cannot-tell": {"why": "any beginning of such a file is a file"}}},
    ///  {"op": "remove", "path": "/media/1/duration"}]
    /// ```
    ///
    /// # Passes
    /// The row has the digest of the recorder.
    /// ```json
    /// [{"op": "replace", "path": "/files/videos~1r101.mp4/wholeness", "value": {"cannot-tell": {"why": "any beginning of such a file is a file"}}},
    ///  {"op": "remove", "path": "/media/1/duration"},
    ///  {"op": "add", "path": "/media/1/sha256", "value": "2c26b46b68ffc68ff99b453c1d30413413422d706483bfa0f98a5e886266e7ae"}]
    /// ```
    /// The row has its duration, which `file-duration-contradicts` compares.
    /// ```json
    /// [{"op": "replace", "path": "/files/videos~1r101.mp4/wholeness", "value": {"cannot-tell": {"why": "any beginning of such a file is a file"}}}]
    /// ```
    ///
    /// # Fix
    /// Play the recording to its end. Record its duration and the digest of the recorder.
    name: "file-wholeness-unknown", severity: Note, scope: Media, since: "0.2", clause: "media#files",
    needs: [Files],
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let Some(file) = view.readable_file() else { return };
    let Wholeness::CannotTell { why } = &file.wholeness else { return };
    let media = view.media;
    let by_duration = media.duration.is_some() && file.duration.is_some();
    let by_digest = media.sha256.is_some() && file.sha256.is_some();
    if by_digest || by_duration || media.state == Some(MediaState::Truncated) {
        return;
    }
    let message = format!("it cannot be told whether {:?} is whole: {why}", media.file.as_str());
    out.report(view.subject("/file"), message);
}
