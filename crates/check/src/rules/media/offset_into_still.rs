//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::media_types::is_still;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation states a time into a still.
    ///
    /// # Exactly
    /// Stills are those of `media-kind-contradicts`.
    ///
    /// # Why it matters
    /// A still has no time: the time belongs to the video, and the reference names the wrong file.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/media/0/offset`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2/media/0/offset", "value": 50}]
    /// ```
    /// Into a scan, at `/runs/0/observations/2/media/0/offset`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/kind", "value": "scan"},
    ///  {"op": "add", "path": "/runs/0/observations/2/media/0/offset", "value": 50}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/media/1/offset", "value": 51}]
    /// ```
    /// A scan that is a video.
    /// ```json
    /// [{"op": "replace", "path": "/media/1/kind", "value": "scan"}]
    /// ```
    ///
    /// # Fix
    /// Name the recording that the time belongs to, or remove the time.
    name: "offset-into-still", severity: Warning, scope: Observation, since: "0.1", clause: "media#time-in-recordings",
    facts: { "media" = Id "the file" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    for (index, (reference, media)) in row.media().enumerate() {
        if let (Some(offset), Some(media)) = (reference.offset, media)
            && is_still(media)
        {
            let (id, kind) = (reference.id.as_str(), media.kind.as_str());
            let message = format!("shown at {offset} s of {id:?}, which is a {kind}");
            out.report(row.subject(&format!("/media/{index}/offset")), message).fact("media", id);
        }
    }
}
