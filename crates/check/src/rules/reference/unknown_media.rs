//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// Every media file that an observation names is in the table of media.
    /// However many rows name one that is missing, that is one finding.
    ///
    /// # Why it matters
    /// The picture may well be in the delivery, but nobody will find it from the observation that it shows.
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
    /// Correct the id, or add the file to the table of media.
    name: "unknown-media", severity: Error, scope: Observation, since: "0.1", clause: "media#references",
    refers_to: "media",
    facts: {
        "id" = Id "the id that no row has; where the table has no row at all, the first that is named",
        "rows" = Count "how many rows name it; where the table has no row at all, how many name any",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    for (index, (reference, media)) in row.media().enumerate() {
        if media.is_none() && !row.survey().knows_media(&reference.id) {
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
