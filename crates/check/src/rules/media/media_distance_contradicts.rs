//! See the rule's documentation below.

use obvert_model::number::Length;
use obvert_model::tables::MediaKind;

use crate::sink::Sink;
use crate::support::row_order::decimal_slip;
use crate::support::run_extent::exceeds;
use crate::views::{RowView, RunView, tolerance};

rule! {
    /// # What it checks
    /// A photo that shows an observation of its run was taken where the observation is, or along its stretch, within
    /// the limit. Where that is not so for three or more, and more than half of the run's photos, it is the run's
    /// distances that are wrong, and that is one finding. A photo beyond its run is left to `media-beyond-run`, one of
    /// another run to `media-run-contradicts`, an observation whose own distance has slipped a digit to `decimal-slip`.
    ///
    /// # Exactly
    /// A photo counts that an observation of the run names, that has an `at`, and whose `run` is this one or absent, once for
    /// each observation that names it. It is off by how far its `at` lies before the observation's `at` or behind its end;
    /// behind a stretch that has no `to` nothing lies. It was taken elsewhere where that exceeds `distance`. Nothing is said
    /// of a run that is out of order or zeroed again, or where all lengths are doubtful. Photos that were taken beyond their
    /// run count for the run as a whole, and are not told one by one.
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
    /// All photos of the run, at `/runs/0/observations`:
    /// ```json
    /// [{"op": "add", "path": "/media/-", "value": {"id": "M-4", "file": "photos/4.jpg", "kind": "photo", "run": "R-101", "at": 60}},
    ///  {"op": "add", "path": "/media/-", "value": {"id": "M-5", "file": "photos/5.jpg", "kind": "photo", "run": "R-101", "at": 80}},
    ///  {"op": "replace", "path": "/media/0/at", "value": 1}, {"op": "replace", "path": "/runs/0/observations/4/media/0", "value": {"id": "M-4"}},
    ///  {"op": "replace", "path": "/runs/0/observations/5/media/0", "value": {"id": "M-5"}}]
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
    /// Correct the distance of the photo, or name the right photo. Where all photos of a run disagree, see in the video
    /// which of the two distances it shows.
    name: "media-distance-contradicts", severity: Warning, scope: Run, since: "0.1", clause: "media#references",
    concludes_from: ["media", "media.at", "media.run"],
    limits: {
        "distance" = 3.0 "m" "how far from what it shows a photo may be taken: a lens looks some pipe lengths ahead; common practice, no published source",
    },
    facts: {
        "photos" = Count "photos that the run shows and that have a distance"
            if "most of them, three or more, are astray",
        "astray" = Count "those of them that were taken elsewhere" if "`photos` is there",
        "at" = Length "`at` of the photo" if "it is told by itself",
        "media" = Id "the photo" if "it is told by itself",
    },
}

/// So many photos speak of the run and not of themselves.
const WHOLE: usize = 3;

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let limit = out.limit("distance");
    let (mut astray, mut of) = (0, 0);
    for row in run.rows().filter(|row| !row.row.media.is_empty()) {
        for photo in photos(row) {
            of += 1;
            astray += usize::from(exceeds(photo.off, limit));
        }
    }
    if astray == 0 || run.disordered() || run.marks().counter_reset || run.survey.lengths_doubtful() {
        return;
    }
    if astray >= WHOLE && astray * 2 > of {
        let message =
            format!("{astray} of {of} photos of the run were taken elsewhere than what they show, by their distances");
        out.report(run.subject("/observations"), message).fact("photos", of).fact("astray", astray);
        return;
    }
    for row in run.rows().filter(|row| !row.row.media.is_empty()) {
        for Photo { index, at, off, beyond } in photos(row) {
            if beyond || !exceeds(off, limit) || decimal_slip(run, row.index).is_some() {
                continue;
            }
            let (id, survey) = (row.row.media[index].id.as_str(), run.survey);
            let (taken, seen) = (survey.say(at), survey.say(row.row.at));
            let message = format!("the photo {id:?} was taken at {taken}, but what it shows is at {seen}");
            out.report(row.subject(&format!("/media/{index}")), message).fact("at", at.get()).fact("media", id);
        }
    }
}

/// A photo of the run that a row names.
struct Photo {
    /// Its place in the row.
    index: usize,
    at: Length,
    /// How far it was taken from what it shows, in metres.
    off: f64,
    /// Whether it was taken beyond its run.
    beyond: bool,
}

fn photos<'r>(row: RowView<'r>) -> impl Iterator<Item = Photo> + use<'r> {
    row.media().enumerate().filter_map(move |(index, (_, media))| {
        let media = media.filter(|media| media.kind == MediaKind::Photo)?;
        let (at, run, survey) = (media.at?, row.run, row.survey());
        let taken = survey.metres(at);
        let end = run.run.surveyed.map(|end| survey.metres(end));
        let outside = at.get() < run.reads() - tolerance(0.0) / survey.head.units.length.metres()
            || end.is_some_and(|end| taken > end + tolerance(end));
        if media.run.as_ref().is_some_and(|named| *named != run.run.id) {
            return None;
        }
        let open = row.row.is_stretch() && row.row.to.is_none();
        let after = if open { 0.0 } else { taken - survey.metres(row.row.end()) };
        let off = after.max(survey.metres(row.row.at) - taken);
        Some(Photo { index, at, off, beyond: outside && media.run.is_some() })
    })
}
