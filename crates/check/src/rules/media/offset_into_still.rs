//! See the rule's documentation below.

use obvert_model::tables::MediaKind;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation states a time into a `photo` or `document`.
    ///
    /// # Why it matters
    /// A still has no time: the time belongs to the video, and the reference names the wrong file.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/media/0/offset`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2/media/0/offset", "value": 50}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/media/1/offset", "value": 51}]
    /// ```
    ///
    /// # Fix
    /// Name the recording that the time belongs to, or remove the time.
    name: "offset-into-still", severity: Warning, scope: Observation, since: "0.1", clause: "media#time-in-recordings",
    facts: { "media" = Id "the file" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    for (index, (reference, media)) in row.media().enumerate() {
        let kind = media.map(|media| media.kind);
        if let (Some(offset), Some(kind @ (MediaKind::Photo | MediaKind::Document))) =
            (reference.offset, kind)
        {
            let (id, kind) = (reference.id.as_str(), kind.as_str());
            let message = format!("shown at {offset} s of {id:?}, which is a {kind}");
            out.report(row.subject(&format!("/media/{index}/offset")), message).fact("media", id);
        }
    }
}
