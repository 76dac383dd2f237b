//! See the rule's documentation below.

use obvert_model::tables::MediaKind;

use crate::sink::Sink;
use crate::support::media_types::is_still;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// A still has a duration or frame rate, or an audio file has a frame rate or rotation.
    ///
    /// # Exactly
    /// A *still* is a `photo`, a `document`, or a `scan` whose `type` is stated and not `video/…`.
    ///
    /// # Why it matters
    /// The kind is wrong, or the row was copied from another file; a program that relies on the
    /// kind shows nothing.
    ///
    /// # Fails
    /// At `/media/0/duration`:
    /// ```json
    /// [{"op": "add", "path": "/media/0/duration", "value": 42}]
    /// ```
    /// At `/media/1/frame_rate`:
    /// ```json
    /// [{"op": "replace", "path": "/media/1/kind", "value": "audio"}, {"op": "remove", "path": "/media/1/type"}, {"op": "add", "path": "/media/1/frame_rate", "value": 25}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/media/1/frame_rate", "value": 25}]
    /// ```
    /// A scan that is a video.
    /// ```json
    /// [{"op": "replace", "path": "/media/1/kind", "value": "scan"}, {"op": "add", "path": "/media/1/duration", "value": 600}]
    /// ```
    ///
    /// A filmed scan.
    /// ```json
    /// [{"op": "replace", "path": "/media/1/kind", "value": "scan"}]
    /// ```
    ///
    /// # Fix
    /// Correct the kind, or remove the number.
    name: "media-kind-contradicts", severity: Warning, scope: Media, since: "0.1", clause: "media#kind-and-type",
    facts: { "kind" = Word "the kind, as recorded" },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let media = view.media;
    // A film of a scan need not state its type.
    let film = media.kind == MediaKind::Scan && media.media_type.is_none();
    let still = is_still(media) && !film;
    let sound = media.kind == MediaKind::Audio;
    let (field, what) = if still && media.duration.is_some() {
        ("/duration", "a duration")
    } else if (still || sound) && media.frame_rate.is_some() {
        ("/frame_rate", "a frame rate")
    } else if sound && media.rotation.is_some() {
        ("/rotation", "a rotation")
    } else {
        return;
    };
    let kind = media.kind.as_str();
    out.report(view.subject(field), format!("the kind is {kind:?}, but the file has {what}"))
        .fact("kind", kind);
}
