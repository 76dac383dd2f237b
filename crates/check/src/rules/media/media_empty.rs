//! See the rule's documentation below.

use obvert_model::tables::MediaState;

use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// A media file has 0 bytes, and its `state` is not `lost`.
    ///
    /// # Why it matters
    /// The recorder opened a file and wrote nothing: the picture does not exist.
    ///
    /// # Fails
    /// At `/media/0/bytes`:
    /// ```json
    /// [{"op": "add", "path": "/media/0/bytes", "value": 0}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/media/0/bytes", "value": 1}]
    /// ```
    ///
    /// # Fix
    /// Look for the file on the recorder; if it is empty there too, set its `state` to `lost`.
    name: "media-empty", severity: Error, scope: Media, since: "0.1", clause: "media#state",
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let media = view.media;
    if media.bytes.is_some_and(|bytes| bytes.get() == 0) && media.state != Some(MediaState::Lost) {
        out.report(view.subject("/bytes"), format!("the file {:?} is empty", media.file.as_str()));
    }
}
