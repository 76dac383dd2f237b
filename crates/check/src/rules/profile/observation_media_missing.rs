//! See the rule's documentation below.

use crate::profile::{add_demand, concerns, kinds_in_words, of_observations, shown};
use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// Every observation of the codes, or of the roles of codes, that the office's profile names has a media file of one of the
    /// kinds that it demands: a photo at every connection. A file whose state is `lost` does not count.
    ///
    /// The rule stands back where the observation names a file that is not in the table of media.
    ///
    /// # Why it matters
    /// Somebody decides by the picture: whether a connection is legal, whether a repair is tight. The video may be hours of download
    /// away.
    ///
    /// # Profile
    /// ```json
    /// {"media": [
    ///   {"of": "observation", "kinds": ["photo"], "roles": ["connection"]},
    ///   {"of": "observation", "kinds": ["photo", "video"], "codes": ["collapse"]}
    /// ]}
    /// ```
    ///
    /// # Fails
    /// A video is no photo. At `/runs/0/observations/3/media`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/media/0/offset", "value": 131}]
    /// ```
    /// At `/runs/1/observations/1`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/observations/1/media"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/media/-", "value": {"id": "M-4", "file": "photos/tap.jpg", "kind": "photo"}},
    ///  {"op": "add", "path": "/runs/0/observations/3/media/-", "value": {"id": "M-4"}}]
    /// ```
    ///
    /// # Fix
    /// Add a still of it; one can be taken from the video.
    name: "observation-media-missing", severity: Error, scope: Observation, since: "0.1", clause: "profiles#media",
    needs: [Profile, Codes],
    concludes_from: ["media", "observation.media"],
    facts: {
        "kinds" = Words "the kinds of media that would do, in the order of the profile",
        "basis" = Text "what the demand rests on" if "the profile says so",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(profile) = row.survey().profile() else { return };
    for demand in of_observations(profile).filter(|demand| concerns(demand, row)) {
        let Some(kinds) = shown(row) else { return };
        if !kinds.has_one(&demand.kinds) {
            let subject = row.subject(if row.row.media.is_empty() { "" } else { "/media" });
            let message = format!("{} has no {}, and the profile demands one", row.row.code, kinds_in_words(demand));
            add_demand(out.report(subject, message), demand);
        }
    }
}
