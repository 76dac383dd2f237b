//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation names a media file that is not in the media table. One finding for each
    /// missing id.
    ///
    /// # Why it matters
    /// The picture cannot be found from the observation that it shows.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/media/0/id`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/media/0/id", "value": "M-11"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/media/0/id", "value": "M-3"}]
    /// ```
    ///
    /// # Fix
    /// Correct the id, or add the file to the media table.
    name: "unknown-media", severity: Error, scope: Observation, since: "0.1", clause: "media#references",
    refers_to: "media",
    facts: {
        "id" = Id "the missing id; if the table is empty, the first one named",
        "rows" = Count "how many rows name it; if the table is empty, how many name any",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    for (index, (reference, media)) in row.media().enumerate() {
        if media.is_none() && !row.survey().has_media(&reference.id) {
            let subject = || row.subject(&format!("/media/{index}/id"));
            out.unknown(
                "media file",
                &reference.id,
                row.survey().head.media.iter().map(|row| row.id.as_str()),
                subject,
            );
        }
    }
}
