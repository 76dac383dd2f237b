//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::photo_distances::{Photo, photos};
use crate::support::row_order::decimal_slip;
use crate::support::run_extent::exceeds;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A photo was taken farther from the observation that names it than the limit allows. If that
    /// holds for three or more photos of a run and for more than half of them, it is one finding
    /// for the run.
    ///
    /// # Exceptions
    /// - The photo was taken beyond its run (`media-beyond-run`) or belongs to another run
    ///   (`media-run-contradicts`).
    /// - The distance of the observation has a misplaced decimal point (`decimal-slip`).
    /// - The run is disordered, its counter seems to have been set to zero again, or lengths are in
    ///   a doubtful unit.
    ///
    /// # Exactly
    /// A photo counts if an observation names it, it has an `at`, and its `run` is this one or
    /// absent; once for each observation that names it. It is off by how far its `at` lies before
    /// the observation's `at` or behind its end; behind a stretch without `to`, or with one
    /// before `at`, nothing lies. *Off* exceeds `distance`, and five times the height or width of
    /// the pipe, whichever is larger: in a tunnel pictures are taken from afar. Photos beyond their
    /// run count for the run, but are not reported one by one.
    ///
    /// # Why it matters
    /// One of the two distances is wrong, or the photo shows something else. Excavations follow the
    /// one that is read.
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
    /// Along the stretch, or a little before it.
    /// ```json
    /// [{"op": "replace", "path": "/media/0/at", "value": 40}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/media/0/at", "value": 9}]
    /// ```
    ///
    /// In a tunnel of 10 ft.
    /// ```json
    /// [{"op": "replace", "path": "/media/2/at", "value": 55}, {"op": "replace", "path": "/pipes/1/height", "value": 120}]
    /// ```
    ///
    /// # Fix
    /// Correct the distance of the photo, or name the right photo. If all photos of a run are off,
    /// check in the video which distance it shows.
    name: "media-distance-contradicts", severity: Warning, scope: Run, since: "0.1", clause: "media#references",
    concludes_from: ["media", "media.at", "media.run", "pipe.height"],
    limits: {
        "distance" = 3.0 "m"
            "greatest distance of a photo from its observation: a lens looks some pipe lengths ahead; common practice, no published source",
    },
    facts: {
        "photos" = Count "photos of the run that count"
            if "three or more, and more than half of them, are off",
        "mismatched" = Count "those of them that are off" if "`photos` is present",
        "at" = Length "`at` of the photo" if "it is reported by itself",
        "media" = Id "the photo" if "it is reported by itself",
    },
}

/// From this many photos on, the run is taken to be wrong and not the photos.
const SEVERAL: usize = 3;

/// From how many pipe sizes away pictures are taken; common practice, no published source.
const SIZES: f64 = 5.0;

/// The larger of height and width of the pipe, in metres; 0 if it is unknown or doubtful.
fn largest_size(run: &RunView<'_>) -> f64 {
    let Some(view) = run.pipe.filter(|view| !view.size_doubtful()) else { return 0.0 };
    let sizes = [view.pipe.height, view.pipe.width].into_iter().flatten();
    sizes.map(|size| run.survey.millimetres(size) / 1000.0).fold(0.0, f64::max)
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let limit = out.limit("distance").max(SIZES * largest_size(run));
    let (mut wrong, mut of) = (0, 0);
    for row in run.rows().filter(|row| !row.row.media.is_empty()) {
        for photo in photos(row) {
            of += 1;
            wrong += usize::from(exceeds(photo.off, limit));
        }
    }
    if wrong == 0 || run.disordered() || run.marks().counter_reset || run.survey.lengths_doubtful()
    {
        return;
    }
    if wrong >= SEVERAL && wrong * 2 > of {
        let message = format!(
            "{wrong} of {of} photos of the run were taken at other distances than their observations"
        );
        out.report(run.subject("/observations"), message)
            .fact("photos", of)
            .fact("mismatched", wrong);
        return;
    }
    for row in run.rows().filter(|row| !row.row.media.is_empty()) {
        for Photo { index, at, off, beyond } in photos(row) {
            if beyond || !exceeds(off, limit) || decimal_slip(run, row.index).is_some() {
                continue;
            }
            let (id, survey) = (row.row.media[index].id.as_str(), run.survey);
            let (taken, seen) = (survey.format_length(at), survey.format_length(row.row.at));
            let message =
                format!("the photo {id:?} was taken at {taken}, but its observation is at {seen}");
            out.report(row.subject(&format!("/media/{index}")), message)
                .fact("at", at.get())
                .fact("media", id);
        }
    }
}
