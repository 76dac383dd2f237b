//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// An observation is shown at a time before the beginning or after the end of its recording.
    ///
    /// # Exceptions
    /// - After the end: three or more observations of the run are shown more than 1 s after the end
    ///   of one recording (`duration-contradicts-offsets`).
    ///
    /// # Exactly
    /// `offset` is negative, or greater than `duration` + `rounding`.
    ///
    /// # Why it matters
    /// The offset belongs to another file, or the recording was truncated.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/media/0/offset`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 801.5}]
    /// ```
    /// At `/runs/0/observations/0/media/0/offset`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/0/media/0/offset", "value": -4}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/6/media/0/offset", "value": 801}]
    /// ```
    ///
    /// # Fix
    /// Look up the time in the video; correct the reference if it belongs to another file.
    name: "media-offset-past-end", severity: Error, scope: Run, since: "0.1", clause: "media#time-in-recordings",
    limits: { "rounding" = 1.0 "s" "greatest offset beyond the end; common practice, no published source" },
    facts: { "offset" = Seconds "the offset, as recorded" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let late = run.late_offsets();
    for row in run.rows().filter(|row| !row.row.media.is_empty()) {
        report(&row, late.has_several(), out);
    }
}

fn report(row: &RowView<'_>, several: bool, out: &mut Sink<'_>) {
    for (index, (reference, media)) in row.media().enumerate() {
        let Some(offset) = reference.offset else { continue };
        let duration = media.and_then(|media| media.duration).filter(|duration| {
            offset > *duration && offset.get() > duration.get() + out.limit("rounding") && !several
        });
        let problem = match duration {
            Some(duration) => format!("which is {duration} s long"),
            None if offset.get() < 0.0 => "before it begins".to_owned(),
            None => continue,
        };
        let message = format!("shown at {offset} s of {}, {problem}", reference.id);
        out.report(row.subject(&format!("/media/{index}/offset")), message)
            .fact("offset", offset.get());
    }
}
