//! See the rule's documentation below.

use crate::profile::{MediaKinds, add_demand, kinds_in_words, of_runs};
use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run has no media file of a kind that the office's profile requires.
    ///
    /// # Exactly
    /// A file counts if its `run` is the run, or if an observation of the run names it, unless its
    /// state is `lost`.
    ///
    /// # Why it matters
    /// Without the video of a run the office cannot check the record.
    ///
    /// # Profile
    /// ```json
    /// {"media": [{"of": "run", "kinds": ["video", "interval-video", "photo"]}]}
    /// ```
    ///
    /// # Fails
    /// At `/runs/2`:
    /// ```json
    /// [{"op": "add", "path": "/runs/2/remark", "value": "recorder failed"}]
    /// ```
    /// At `/runs/1`:
    /// ```json
    /// [{"op": "replace", "path": "/media/2/state", "value": "lost"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/media/-", "value": {"id": "M-4", "file": "videos/r102r.mp4", "kind": "video", "run": "R-102R"}}]
    /// ```
    ///
    /// # Fix
    /// Add the file to the media table, with its run.
    name: "run-media-missing", severity: Error, scope: Run, since: "0.1", clause: "profiles#media",
    needs: [Profile],
    concludes_from: ["media", "media.run", "observation.media"],
    facts: {
        "kinds" = Words "the kinds of media that are accepted, in the order of the profile",
        "basis" = Text "the basis of the demand" if "the profile states one",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(profile) = run.survey.profile() else { return };
    let mut kinds = None;
    for demand in of_runs(profile) {
        let kinds: &MediaKinds = kinds.get_or_insert_with(|| run.media_kinds());
        if !kinds.has_one(&demand.kinds) {
            let message =
                format!("the run has no {}, but the profile requires one", kinds_in_words(demand));
            add_demand(out.report(run.subject(""), message), demand);
        }
    }
}
