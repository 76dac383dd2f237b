//! See the rule's documentation below.

use obvert_model::tables::{MediaKind, MediaState};

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// No observation relies on a media file that is stated as lost, nor on one that is stated as truncated unless it is
    /// a recording of which the observation names a time.
    ///
    /// # Why it matters
    /// The proof of what was seen is not there, or may not play. The receiving office will ask for it.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/media/0`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/state", "value": "lost"}]
    /// ```
    /// At `/runs/1/observations/1/media/0`:
    /// ```json
    /// [{"op": "replace", "path": "/media/2/state", "value": "truncated"}]
    /// ```
    ///
    /// # Passes
    /// The part of a video that was saved can still be shown.
    /// ```json
    /// [{"op": "replace", "path": "/media/1/state", "value": "truncated"}]
    /// ```
    ///
    /// # Fix
    /// Look for another copy of the file; if there is none, take the reference out and say so in a remark.
    name: "media-not-whole", severity: Warning, scope: Observation, since: "0.1", clause: "media#state",
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    for (index, (reference, media)) in row.media().enumerate() {
        let Some(media) = media else { continue };
        let recording = matches!(media.kind, MediaKind::Video | MediaKind::IntervalVideo | MediaKind::Audio);
        let broken = match media.state {
            Some(MediaState::Lost) => true,
            Some(MediaState::Truncated) => !(recording && reference.offset.is_some()),
            _ => false,
        };
        if broken {
            let state = media.state.map_or("", MediaState::as_str);
            out.report(row.spot(&format!("/media/{index}")), format!("it relies on {}, which is {state}", media.file));
        }
    }
}
