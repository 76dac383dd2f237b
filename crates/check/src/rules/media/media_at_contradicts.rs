//! See the rule's documentation below.

use obvert_model::number::Length;
use obvert_model::tables::{Media, MediaKind};

use crate::order::slip;
use crate::reach::exceeds;
use crate::sink::Sink;
use crate::views::{RowView, RunView, tolerance};

rule! {
    /// # What it checks
    /// A photo that shows an observation of its run was taken where the observation is, or along its stretch, within
    /// the limit. A photo beyond its run is left to `media-beyond-run`, one of another run to `media-run-contradicts`,
    /// an observation whose own distance has slipped a digit to `decimal-slip`. Where most photos of a run are astray,
    /// there is one finding for the run.
    ///
    /// # Why it matters
    /// One of the two distances is wrong, or the photo shows something else. Who digs goes by the one that is read
    /// first.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/media/0`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/at", "value": 124}]
    /// ```
    /// At `/runs/0/observations/2/media/0`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/at", "value": 1.24}]
    /// ```
    ///
    /// # Passes
    /// Anywhere along the stretch, or from a little before it.
    /// ```json
    /// [{"op": "replace", "path": "/media/0/at", "value": 40}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/media/0/at", "value": 9}]
    /// ```
    ///
    /// # Fix
    /// Correct the distance of the photo, or name the right photo.
    name: "media-at-contradicts", severity: Warning, scope: Run, since: "0.1", clause: "media#references",
    limits: {
        "distance" = 3.0 "m" "how far from what it shows a photo may be taken: a lens looks some pipe lengths ahead; common practice, no published source",
    },
}

/// So many photos astray in one run say more of the run's distances than of each photo.
const WHOLE: usize = 3;

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let (survey, limit) = (run.survey, out.limit("distance"));
    let mut astray: Vec<(RowView<'_>, usize, &Media, Length)> = Vec::new();
    let mut photos = 0;
    for row in run.rows() {
        for (index, (_, media)) in row.media().enumerate() {
            let Some(media) = media.filter(|media| media.kind == MediaKind::Photo) else { continue };
            let Some(at) = media.at else { continue };
            let taken = survey.metres(at);
            let before = survey.metres(row.row.at) - taken;
            let open = row.row.is_stretch() && row.row.to.is_none();
            let after = if open { 0.0 } else { taken - survey.metres(row.row.end()) };
            let own = media.run.as_ref().is_none_or(|named| *named == run.run.id);
            let outside = at.get() < run.reads() - tolerance(0.0) / survey.head.units.length.metres()
                || run.run.surveyed.is_some_and(|end| taken > survey.metres(end) + tolerance(survey.metres(end)));
            let beyond = outside && media.run.is_some();
            photos += usize::from(own && !beyond);
            if !exceeds(before.max(after), limit) {
                continue;
            }
            if own && !beyond && !run.disordered() && slip(run, row.index).is_none() && !survey.lengths_doubtful() {
                astray.push((row, index, media, at));
            }
        }
    }
    if astray.len() >= WHOLE && astray.len() * 2 > photos {
        let (row, _, media, at) = &astray[0];
        let (taken, seen) = (survey.say(*at), survey.say(row.row.at));
        let message = format!(
            "{} of {photos} photos were taken elsewhere than what they show, such as {:?} at {taken} and not at {seen}",
            astray.len(),
            media.id.as_str()
        );
        out.report(run.spot("/observations"), message)
            .fact("photos", astray.len())
            .help("so many can hardly be wrong one by one; look whether the distances of the whole run are");
        return;
    }
    for (row, index, media, at) in astray {
        let (id, taken, seen) = (media.id.as_str(), survey.say(at), survey.say(row.row.at));
        let message = format!("the photo {id:?} was taken at {taken}, but what it shows is at {seen}");
        out.report(row.spot(&format!("/media/{index}")), message).fact("at", at.get()).fact("media", id);
    }
}
