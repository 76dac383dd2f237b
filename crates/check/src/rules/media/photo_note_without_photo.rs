//! See the rule's documentation below.

use obvert_model::lists::Role;
use obvert_model::tables::{Media, MediaKind};

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation records that a photo was taken, but names no photo.
    ///
    /// # Exceptions
    /// - It names a file that the document does not have (`unknown-media`).
    /// - A photo in the table of media belongs to the run and was taken at the distance of the
    ///   observation, within `distance`.
    /// - The document has no photo at all: they are delivered apart from it.
    ///
    /// # Exactly
    /// The code has the role `photo`, and no file in `media` of the observation has the kind
    /// `photo` or `scan`.
    ///
    /// # Why it matters
    /// The photo is missing from the delivery, or it is shown beside another observation.
    ///
    /// # Fails
    /// At `/runs/0/observations/4`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 60, "code": "note.photo", "media": [{"id": "M-2", "offset": 240}]}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 60, "code": "note.photo", "media": [{"id": "M-3"}]}}]
    /// ```
    /// By the table of media.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 60, "code": "note.photo"}},
    ///  {"op": "add", "path": "/media/-", "value": {"id": "M-4", "file": "photos/4.jpg", "kind": "photo", "run": "R-101", "at": 60}}]
    /// ```
    ///
    /// # Fix
    /// Name the photo in the observation, add it to the table of media, or remove the row.
    name: "photo-note-without-photo", severity: Warning, scope: Observation, since: "0.1", clause: "observations#media",
    needs: [Codes],
    concludes_from: ["media", "media.kind", "media.run", "media.at", "observation.media"],
    limits: {
        "distance" = 1.0 "m"
            "greatest distance of the photo from the observation; common practice, no published source",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    if row.role() != Some(Role::Photo) {
        return;
    }
    let picture = |media: &Media| matches!(media.kind, MediaKind::Photo | MediaKind::Scan);
    if row.media().any(|(_, media)| media.is_none_or(picture)) {
        return;
    }
    // The files are searched only for a finding that will be listed.
    let files = &row.survey().head.media;
    if out.lists() && (!files.iter().any(picture) || files.iter().any(|file| shows(row, file, out)))
    {
        return;
    }
    out.report(row.subject(""), "a photo is recorded here, but none is named");
}

/// Whether a file of the run is a photo that was taken at the observation.
fn shows(row: &RowView<'_>, file: &Media, out: &Sink<'_>) -> bool {
    let survey = row.survey();
    let near = |at| (survey.metres(at) - survey.metres(row.row.at)).abs() <= out.limit("distance");
    matches!(file.kind, MediaKind::Photo | MediaKind::Scan)
        && file.run.as_ref() == Some(&row.run.run.id)
        && file.at.is_some_and(near)
}
