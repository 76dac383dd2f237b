//! See the rule's documentation below.

use obvert_model::tables::MediaState;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation is shown at a time after the end of the file.
    ///
    /// # Exactly
    /// `offset` is greater than the duration of the file + `rounding`, and `state` is not
    /// `truncated`.
    ///
    /// # Why it matters
    /// What was observed is not in the film that is delivered.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/media/0/offset`:
    /// ```json
    /// [{"op": "replace", "path": "/files/videos~1r101.mp4/duration", "value": 300.0}]
    /// ```
    ///
    /// # Passes
    /// The last row, within the rounding.
    /// ```json
    /// [{"op": "replace", "path": "/files/videos~1r101.mp4/duration", "value": 789.5}]
    /// ```
    /// The row of the file states that it is truncated (`media-incomplete`).
    /// ```json
    /// [{"op": "replace", "path": "/files/videos~1r101.mp4/duration", "value": 300.0},
    ///  {"op": "replace", "path": "/media/1/state", "value": "truncated"}]
    /// ```
    ///
    /// # Fix
    /// Copy the recording again, or correct the time if it belongs to another recording.
    name: "file-shorter-than-offset", severity: Error, scope: Observation, since: "0.2", clause: "media#files",
    needs: [Files],
    concludes_from: ["media", "media.file", "media.state"],
    limits: {
        "rounding" = 1.0 "s" "greatest time beyond the end; common practice, no published source",
    },
    facts: {
        "duration" = Seconds "the duration of the file",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(files) = &row.survey().files else { return };
    for (index, (reference, media)) in row.media().enumerate() {
        let (Some(offset), Some(media)) = (reference.offset, media) else { continue };
        let Some(file) = files.of(media).readable() else { continue };
        let Some(duration) = file.duration else { continue };
        let truncated = media.state == Some(MediaState::Truncated);
        if truncated || offset.get() <= duration + out.limit("rounding") {
            continue;
        }
        let shown = (duration * 10.0).round() / 10.0;
        let message =
            format!("shown at {offset} s of {}, but the file is only {shown} s long", reference.id);
        out.report(row.subject(&format!("/media/{index}/offset")), message)
            .fact("duration", duration);
    }
}
