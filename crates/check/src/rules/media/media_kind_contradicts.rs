//! See the rule's documentation below.

use obvert_model::tables::MediaKind;

use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// A photo or document has a duration or frame rate, or an audio file has a frame rate or
    /// rotation. A scan may be filmed; it has neither if its `type` is not one of video.
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
    let filmed = media.media_type.as_ref().is_none_or(|of| of.starts_with("video/"));
    let still = matches!(media.kind, MediaKind::Photo | MediaKind::Document)
        || media.kind == MediaKind::Scan && !filmed;
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
