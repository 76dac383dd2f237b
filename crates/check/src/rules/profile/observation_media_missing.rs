//! See the rule's documentation below.

use crate::profile::{add_demand, applies_to, kinds_in_words, kinds_of, of_observations};
use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation with a code or a role that the office's profile names has no media file of a
    /// kind that the profile requires. A file with the state `lost` does not count.
    ///
    /// # Exceptions
    /// - The observation names a file that is not in the media table (`unknown-media`).
    ///
    /// # Exactly
    /// By demands without `from_grade`; at `media`, or else at the row.
    ///
    /// # Why it matters
    /// Decisions need the picture, such as whether a connection is legal.
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
    /// A video is not a photo. At `/runs/0/observations/3/media`:
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
    /// Add a still; it can be taken from the video.
    name: "observation-media-missing", severity: Error, scope: Observation, since: "0.1", clause: "profiles#media",
    needs: [Profile, Codes],
    concludes_from: ["media", "observation.media"],
    facts: {
        "kinds" = Words "the kinds of media that are accepted, in the order of the profile",
        "basis" = Text "the basis of the demand" if "the profile states one",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(profile) = row.survey().profile() else { return };
    for demand in of_observations(profile).filter(|demand| applies_to(demand, row)) {
        let Some(kinds) = kinds_of(row) else { return };
        if !kinds.has_one(&demand.kinds) {
            let subject = row.subject(if row.row.media.is_empty() { "" } else { "/media" });
            let message = format!(
                "{} has no {}, but the profile requires one",
                row.row.code,
                kinds_in_words(demand)
            );
            add_demand(out.report(subject, message), demand);
        }
    }
}
