//! See the rule's documentation below.

use obvert_model::tables::{Media, MediaKind};

use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// A photo or scan that an observation names belongs to the run of the observation, where it says to which run it
    /// belongs. Three or more that a run shows of another one are one finding: one of the two runs is a copy. A
    /// recording may go over several runs. A run that no other file belongs to is taken to be mistyped and left to
    /// `unknown-run`.
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
    name: "media-run-contradicts", severity: Warning, scope: Run, since: "0.1", clause: "media#references",
    facts: {
        "photos" = Count "photos of other runs that the run shows" if "they are three or more",
        "run_of_media" = Id "the run that the photo belongs to, or the first of several",
        "media" = Id "the photo" if "it is told by itself",
    },
}

/// So many photos speak of the run and not of themselves.
const WHOLE: usize = 3;

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let others = || run.rows().filter(|row| !row.row.media.is_empty()).flat_map(of_another);
    let some = others().count();
    if some == 0 {
        return;
    }
    if some >= WHOLE {
        let first = others().next().and_then(|(_, _, media)| media.run.as_ref()).map_or("", |other| other.as_str());
        let message = format!("{some} photos that the run shows belong to other runs, the first to {first:?}");
        out.report(run.subject("/observations"), message).fact("photos", some).fact("run_of_media", first);
        return;
    }
    let files = &run.survey.head.media;
    for (row, index, media) in others() {
        let Some(other) = &media.run else { continue };
        // The runs that follow are not known yet; a search is made for a finding that will be listed only.
        let named = |file: &Media| file.id != media.id && file.run.as_ref() == Some(other);
        if out.lists() && !files.iter().any(named) {
            continue;
        }
        let (id, other) = (media.id.as_str(), other.as_str());
        let message = format!("{id:?} belongs to run {other:?}, but shows an observation of this run");
        out.report(row.subject(&format!("/media/{index}")), message).fact("run_of_media", other).fact("media", id);
    }
}

/// The stills of a row that say that they belong to another run, and their place in the row.
fn of_another<'r>(row: RowView<'r>) -> impl Iterator<Item = (RowView<'r>, usize, &'r Media)> {
    row.media().enumerate().filter_map(move |(index, (_, media))| {
        let media = media.filter(|media| matches!(media.kind, MediaKind::Photo | MediaKind::Scan))?;
        media.run.as_ref().filter(|run| **run != row.run.run.id).map(|_| (row, index, media))
    })
}
