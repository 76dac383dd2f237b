//! See the rule's documentation below.

use jiff::civil::DateTime;
use obvert_model::tables::Run;
use obvert_model::text::Timestamp;

use crate::sink::Sink;
use crate::support::time::local_time;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A photo was taken, by the clock of the camera, long before or after its run.
    ///
    /// # Exactly
    /// The run is that of the row, or else one with an observation that shows the photo. Its times
    /// are compared as the clock showed them, without their offsets from UTC; without `finished`,
    /// it ends when it starts.
    ///
    /// # Why it matters
    /// It shows another place, or the clock of the camera was wrong.
    ///
    /// # Fails
    /// At `/media/0/file`:
    /// ```json
    /// [{"op": "replace", "path": "/files/photos~1lm014_001.jpg/captured", "value": "2026-04-02T11:20:00"}]
    /// ```
    ///
    /// # Passes
    /// The clock of the camera was not set to summer time.
    /// ```json
    /// [{"op": "replace", "path": "/files/photos~1lm014_001.jpg/captured", "value": "2026-05-06T08:33:20"}]
    /// ```
    /// The camera does not say.
    /// ```json
    /// [{"op": "remove", "path": "/files/photos~1lm014_001.jpg/captured"}]
    /// ```
    ///
    /// # Fix
    /// Look at the photo. If it shows another place, exchange it; if the clock of the camera was
    /// wrong, note that in the remarks.
    name: "file-time-contradicts", severity: Warning, scope: Ending, since: "0.2", clause: "media#files",
    needs: [Files],
    concludes_from: ["media", "media.file", "media.run", "runs", "observations", "observations.media"],
    limits: {
        "hours" = 12.0 "h" "longest time before or after the run; common practice, no published source",
    },
    facts: {
        "captured" = DateTime "when the photo was taken by the clock of the camera",
        "run" = Id "the run",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let hours = out.limit("hours");
    for view in survey.all_media() {
        let Some(taken) = view.readable_file().and_then(|file| file.captured.as_deref()) else {
            continue;
        };
        let run = match &view.media.run {
            Some(id) => ending.run(id),
            None => ending.shown_by(view.index),
        };
        let Some(run) = run.map(|summary| &summary.run) else { continue };
        let Some(apart) = hours_outside_run(taken, run) else { continue };
        if apart <= hours {
            continue;
        }
        let message =
            format!("taken at {taken} by the camera, {} from run {}", span(apart), run.id);
        out.report(view.subject("/file"), message)
            .fact("captured", taken)
            .fact("run", run.id.as_str());
    }
}

/// How many hours before or after a run a local time is; 0 within it.
fn hours_outside_run(taken: &str, run: &Run) -> Option<f64> {
    let taken: DateTime = taken.parse().ok()?;
    // The camera has no offset from UTC, so its clock is compared with the clock of the run.
    let clock = |time: &Timestamp| local_time(time);
    let start = clock(run.started.as_ref()?)?;
    let end = run.finished.as_ref().and_then(clock).unwrap_or(start);
    let hours = |from: DateTime, to: DateTime| {
        let span = to.duration_since(from);
        span.as_secs_f64() / 3600.0
    };
    Some(hours(taken, start).max(hours(end, taken)).max(0.0))
}

fn span(hours: f64) -> String {
    if hours < 72.0 { format!("{hours:.0} hours") } else { format!("{:.0} days", hours / 24.0) }
}
