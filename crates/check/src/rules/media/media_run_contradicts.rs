//! See the rule's documentation below.

use obvert_model::lists::Role;
use obvert_model::tables::{Media, MediaKind};

use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// An observation names a photo or scan that belongs to another run. Three or more in a run are
    /// one finding: one of the runs is a copy.
    ///
    /// # Exceptions
    /// - The file names no run.
    /// - The observation has no grade, and is a start, an end, a photo, a remark or a connection
    ///   with `joins`: where two pipes meet, one picture shows both.
    /// - Fewer than three are found, and no other file belongs to that run: the run is taken to be
    ///   mistyped (`unknown-run`).
    ///
    /// # Exactly
    /// Each reference counts. Three or more: at `observations` of the run; otherwise at the
    /// reference.
    ///
    /// # Why it matters
    /// The picture of one pipe appears next to a defect of another, and the wrong pipe is judged.
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
    /// A run that no other file names.
    /// ```json
    /// [{"op": "replace", "path": "/media/0/run", "value": "R-999"}]
    /// ```
    ///
    /// The end of a lateral, seen from the main.
    /// ```json
    /// [{"op": "add", "path": "/runs/2/observations/1/media", "value": [{"id": "M-1"}]}]
    /// ```
    ///
    /// # Fix
    /// Look at the picture: correct the run of the file, or name the right file in the observation.
    name: "media-run-contradicts", severity: Warning, scope: Run, since: "0.1", clause: "media#references",
    facts: {
        "photos" = Count "photos of other runs that the run's observations name"
            if "there are three or more",
        "run_of_media" = Id "run that the photo belongs to, or the first of several",
        "media" = Id "the photo" if "it is reported by itself",
    },
}

/// From this many photos on, the run is taken to be wrong and not the photos.
const SEVERAL: usize = 3;

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let others = || run.rows().filter(|row| !row.row.media.is_empty()).flat_map(of_another);
    let some = others().count();
    if some == 0 {
        return;
    }
    if some >= SEVERAL {
        let first = others()
            .next()
            .and_then(|(_, _, media)| media.run.as_ref())
            .map_or("", |other| other.as_str());
        let message = format!(
            "{some} photos of the observations belong to other runs, the first to {first:?}"
        );
        out.report(run.subject("/observations"), message)
            .fact("photos", some)
            .fact("run_of_media", first);
        return;
    }
    let files = &run.survey.head.media;
    for (row, index, media) in others() {
        let Some(other) = &media.run else { continue };
        // Later runs are not known yet. The files are searched only for a finding that will be
        // listed.
        let named = |file: &Media| file.id != media.id && file.run.as_ref() == Some(other);
        if out.lists() && !files.iter().any(named) {
            continue;
        }
        let (id, other) = (media.id.as_str(), other.as_str());
        let message =
            format!("{id:?} belongs to run {other:?}, but an observation of this run names it");
        out.report(row.subject(&format!("/media/{index}")), message)
            .fact("run_of_media", other)
            .fact("media", id);
    }
}

/// The stills of a row that belong to another run, with their index in the row.
fn of_another<'r>(row: RowView<'r>) -> impl Iterator<Item = (RowView<'r>, usize, &'r Media)> {
    // Where two pipes meet, one picture shows both.
    let meets = row.row.grades.is_none()
        && match row.role() {
            Some(Role::Start | Role::Finish | Role::Stopped | Role::Photo | Role::Remark) => true,
            Some(Role::Connection) => row.row.joins.is_some(),
            _ => false,
        };
    row.media().enumerate().filter(move |_| !meets).filter_map(move |(index, (_, media))| {
        let media =
            media.filter(|media| matches!(media.kind, MediaKind::Photo | MediaKind::Scan))?;
        media.run.as_ref().filter(|run| **run != row.run.run.id).map(|_| (row, index, media))
    })
}
