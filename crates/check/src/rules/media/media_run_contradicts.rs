//! See the rule's documentation below.

use obvert_model::tables::MediaKind;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A photo or scan that an observation names belongs to the run of the observation, where it says to which run it
    /// belongs. A recording may go over several runs. A run that no other file belongs to is taken to be mistyped and
    /// left to `unknown-run`.
    ///
    /// # Why it matters
    /// The picture of one pipe stands beside the defect of another, and whoever looks at it judges the wrong pipe.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/media/0`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/run", "value": "R-102"}]
    /// ```
    /// At `/runs/1/observations/1/media/0`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/1/media/0/id", "value": "M-1"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/media/0/run"}]
    /// ```
    /// A run of no other file.
    /// ```json
    /// [{"op": "replace", "path": "/media/0/run", "value": "R-999"}]
    /// ```
    ///
    /// # Fix
    /// Look at the picture: correct the run of the file, or name the right file at the observation.
    name: "media-run-contradicts", severity: Warning, scope: Observation, since: "0.1", clause: "media#references",
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    for (index, (reference, media)) in row.media().enumerate() {
        let Some(media) = media.filter(|media| matches!(media.kind, MediaKind::Photo | MediaKind::Scan)) else {
            continue;
        };
        let Some(other) = media.run.as_ref().filter(|run| **run != row.run.run.id) else { continue };
        // The runs that follow are not known yet; a search is made for a finding that will be listed only.
        let named = |files: &[obvert_model::tables::Media]| {
            files.iter().any(|file| file.id != media.id && file.run.as_ref() == Some(other))
        };
        if out.lists() && !named(&row.survey().head.media) {
            continue;
        }
        let (id, other) = (reference.id.as_str(), other.as_str());
        let message = format!("{id:?} belongs to run {other:?}, but shows an observation of this run");
        out.report(row.spot(&format!("/media/{index}")), message).fact("run_of_media", other).fact("media", id);
    }
}
