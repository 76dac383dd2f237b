//! See the rule's documentation below.

use obvert_model::tables::{Media, MediaState};

use crate::output::count;
use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// Observations are shown at times after the end of a file. Each such file is one finding in a
    /// run, at the first of its late observations.
    ///
    /// # Exactly
    /// An observation is late if its `offset` is greater than the duration of the file +
    /// `rounding`, and `state` of the file is not `truncated`.
    ///
    /// # Why it matters
    /// What was observed is not in the film that is delivered.
    ///
    /// # Fails
    /// Three are late, at `/runs/0/observations/4/media/0/offset`:
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
    /// Copy the recording again, or correct the times if they belong to another recording.
    name: "file-shorter-than-offset", severity: Error, scope: Run, since: "0.2", clause: "media#files",
    needs: [Files],
    concludes_from: ["media", "media.file", "media.state"],
    limits: {
        "rounding" = 1.0 "s" "greatest time beyond the end; common practice, no published source",
    },
    facts: {
        "duration" = Seconds "the duration of the file",
        "media" = Id "the file",
        "rows" = Count "late observations of the run",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(files) = &run.survey.files else { return };
    let rounding = out.limit("rounding");
    // The first late observation of each file: where it is, and how many there are.
    let mut late: Vec<(&Media, f64, RowView<'_>, usize, usize)> = Vec::new();
    for row in run.rows() {
        for (index, (reference, media)) in row.media().enumerate() {
            let (Some(offset), Some(media)) = (reference.offset, media) else { continue };
            let duration = files.of(media).readable().and_then(|file| file.duration);
            let Some(duration) = duration.filter(|end| offset.get() > end + rounding) else {
                continue;
            };
            if media.state == Some(MediaState::Truncated) {
                continue;
            }
            match late.iter_mut().find(|(known, ..)| known.id == media.id) {
                Some((.., rows)) => *rows += 1,
                None => late.push((media, duration, row, index, 1)),
            }
        }
    }
    for (media, duration, row, index, rows) in late {
        let shown = (duration * 10.0).round() / 10.0;
        let times = if rows == 1 { "time" } else { "times" };
        let of = count(rows, "observation");
        let message =
            format!("the file of {} ends at {shown} s, before the {times} of {of}", media.id);
        out.report(row.subject(&format!("/media/{index}/offset")), message)
            .fact("duration", duration)
            .fact("media", media.id.as_str())
            .fact("rows", rows);
    }
}
