//! See the rule's documentation below.

use obvert_model::tables::{Media, MediaKind};

use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// An observation gives a time in the recording of another run, although its own run has a
    /// recording of that kind. Three or more in a run are one finding.
    ///
    /// # Exceptions
    /// - The recording names no run, or no recording of its kind names the run of the observation:
    ///   one recording may show several runs.
    ///
    /// # Exactly
    /// The kind is `video`, `interval-video` or `audio`. Lost recordings of the run do not count as
    /// its own.
    ///
    /// # Why it matters
    /// At that time the recording shows another pipe, and the defect is not found in it.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/media/0/id`:
    /// ```json
    /// [{"op": "add", "path": "/media/-", "value": {"id": "M-4", "file": "videos/r102.mp4", "kind": "video", "duration": 500, "run": "R-102"}},
    ///  {"op": "replace", "path": "/runs/0/observations/3/media/0/id", "value": "M-4"}]
    /// ```
    ///
    /// # Passes
    /// One recording of two runs.
    /// ```json
    /// [{"op": "add", "path": "/runs/1/observations/0/media", "value": [{"id": "M-2", "offset": 795}]}]
    /// ```
    /// ```json
    /// [{"op": "add", "path": "/media/-", "value": {"id": "M-4", "file": "videos/r101b.mp4", "kind": "video", "duration": 500, "run": "R-101"}},
    ///  {"op": "replace", "path": "/runs/0/observations/6/media/0", "value": {"id": "M-4", "offset": 480}}]
    /// ```
    ///
    /// # Fix
    /// Name the recording of this run, or correct the run of the recording.
    name: "recording-run-contradicts", severity: Warning, scope: Run, since: "0.1", clause: "media#time-in-recordings",
    concludes_from: ["media", "media.run", "media.kind", "media.state"],
    facts: {
        "rows" = Count "times that the run gives in recordings of other runs" if "there are three or more",
        "media" = Id "the recording, or the first of several",
        "run_of_media" = Id "the run that it belongs to",
    },
}

/// From this many rows on, they are one finding.
const SEVERAL: usize = 3;

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let others: Vec<(RowView<'_>, usize, &Media)> =
        run.rows().filter(|row| !row.row.media.is_empty()).flat_map(of_another).collect();
    let Some((_, _, first)) = others.first() else { return };
    let named = |media: &Media| media.run.as_ref().map_or("", |other| other.as_str()).to_owned();
    if others.len() >= SEVERAL {
        let (some, id, other) = (others.len(), first.id.as_str(), named(first));
        let message = format!(
            "{some} rows give times in recordings of other runs, the first in {id:?} of run {other:?}"
        );
        out.report(run.subject("/observations"), message)
            .fact("rows", some)
            .fact("media", id)
            .fact("run_of_media", other);
        return;
    }
    for (row, index, media) in others {
        let (id, other) = (media.id.as_str(), named(media));
        let message = format!(
            "the time is one in {id:?}, which belongs to run {other:?}; this run has its own recording"
        );
        out.report(row.subject(&format!("/media/{index}/id")), message)
            .fact("media", id)
            .fact("run_of_media", other);
    }
}

/// The recordings of other runs in which a row gives a time, with their index in the row.
fn of_another<'r>(row: RowView<'r>) -> impl Iterator<Item = (RowView<'r>, usize, &'r Media)> {
    row.media().enumerate().filter_map(move |(index, (reference, media))| {
        reference.offset?;
        let media = media.filter(|media| {
            matches!(media.kind, MediaKind::Video | MediaKind::IntervalVideo | MediaKind::Audio)
        })?;
        let id = &row.run.run.id;
        let other = media.run.as_ref().is_some_and(|run| run != id);
        let own = other && row.survey().media_of_run(id).has_one(&[media.kind]);
        own.then_some((row, index, media))
    })
}
