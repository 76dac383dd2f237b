//! See the rule's documentation below.

use crate::profile::{MediaKinds, add_demand, kinds_in_words, of_runs};
use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// Every run has a media file of one of the kinds that the office's profile demands, such as a video. The table of media says
    /// that the file is of the run, or an observation of the run names it. A file whose state is `lost` does not count.
    ///
    /// # Why it matters
    /// Without the video of a run nobody at the office can look again at what the record says.
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
    /// Add the file to the table of media with the run that it belongs to.
    name: "run-media-missing", severity: Error, scope: Run, since: "0.1", clause: "profiles#media",
    needs: [Profile],
    concludes_from: ["media", "observation.media"],
    facts: {
        "kinds" = Words "the kinds of media that would do, in the order of the profile",
        "basis" = Text "what the demand rests on" if "the profile says so",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(profile) = run.survey.profile() else { return };
    let mut kinds = None;
    for demand in of_runs(profile) {
        let kinds: &MediaKinds = kinds.get_or_insert_with(|| run.media_kinds());
        if !kinds.has_one(&demand.kinds) {
            let message = format!("the run has no {}, and the profile demands one", kinds_in_words(demand));
            add_demand(out.report(run.subject(""), message), demand);
        }
    }
}
