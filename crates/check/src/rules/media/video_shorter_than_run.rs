//! See the rule's documentation below.

use obvert_model::tables::{MediaKind, MediaState, OutcomeKind};
use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::support::late_offsets::SEVERAL;
use crate::support::map_lengths::four_in_five;
use crate::support::time::run_span;
use crate::views::{Ending, MediaView, RunSummary, Subject};

rule! {
    /// # What it checks
    /// The videos of a run are far shorter than the run. If that holds for most runs, it is one
    /// finding.
    ///
    /// # Exceptions
    /// - One of the videos has no `duration`, or is `truncated` or `lost` (`media-incomplete`), or
    ///   is named by observations of another run.
    /// - Observations are shown after the end of one (`media-offset-past-end`,
    ///   `duration-contradicts-offsets`).
    /// - A row records that the camera or the recording was interrupted.
    /// - The run has no `started` or `finished`, took more than three hours
    ///   (`run-duration-implausible`), or did not reach the far structure.
    ///
    /// # Exactly
    /// The sum of `duration` of the files of the kind `video` that name the run is less than
    /// `share` of the time from `started` to `finished`. If that holds for at least three runs, and
    /// for four in five of those that were compared, the finding is at `/media`; otherwise at the
    /// `duration` of the first video of the run.
    ///
    /// # Why it matters
    /// A part of the pipe is not in the video: it was cut off, or it is that of another run.
    ///
    /// # Source
    /// Common practice, no published source: recording pauses while the camera stands still.
    ///
    /// # Fails
    /// At `/media/1/duration`:
    /// ```json
    /// [{"op": "replace", "path": "/media/1/duration", "value": 300}, {"op": "remove", "path": "/runs/0/observations/4/media"},
    ///  {"op": "remove", "path": "/runs/0/observations/5/media"}, {"op": "remove", "path": "/runs/0/observations/6/media"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/media/1/duration", "value": 420}, {"op": "remove", "path": "/runs/0/observations/5/media"},
    ///  {"op": "remove", "path": "/runs/0/observations/6/media"}]
    /// ```
    /// The camera was stopped.
    /// ```json
    /// [{"op": "replace", "path": "/media/1/duration", "value": 300}, {"op": "remove", "path": "/runs/0/observations/4/media"},
    ///  {"op": "remove", "path": "/runs/0/observations/5/media"}, {"op": "remove", "path": "/runs/0/observations/6/media"},
    ///  {"op": "add", "path": "/runs/0/observations/5", "value": {"id": "5a", "at": 100, "code": "run.paused"}}]
    /// ```
    ///
    /// # Fix
    /// Play the video to its end; copy it again, name the right one, or correct `duration`, which
    /// is in seconds.
    name: "video-shorter-than-run", severity: Warning, scope: Ending, since: "0.1", clause: "media#time-in-recordings",
    concludes_from: ["media", "media.duration", "media.run", "media.kind", "media.state", "runs", "runs.started", "runs.finished", "observations", "observations.media", "observations.code"],
    limits: {
        "share" = 50.0 "%" "least part of a run that is in its video; common practice, no published source",
    },
    facts: {
        "runs" = Count "runs with too short a video" if "most runs have one",
        "of" = Count "runs that were compared" if "`runs` is present",
        "duration" = Seconds "the videos of the run together" if "it is reported by itself",
        "run_seconds" = Seconds "from `started` to `finished`" if "it is reported by itself",
    },
}

/// A run that took longer, in seconds, was not closed.
const LONGEST: f64 = 3.0 * 3600.0;

/// The videos of a run: the first one, and their duration together in seconds, if it is known.
struct Videos {
    first: usize,
    duration: Option<f64>,
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let mut of_runs: FxHashMap<usize, Videos> = FxHashMap::default();
    for view in survey.all_media().filter(|view| view.media.kind == MediaKind::Video) {
        let run = view.media.run.as_ref().and_then(|run| ending.run(run));
        let Some(summary) = run else { continue };
        let whole = !matches!(view.media.state, Some(MediaState::Truncated | MediaState::Lost));
        let own = ending.shown_by(view.index).is_none_or(|shown| shown.index == summary.index);
        let duration = view.media.duration.filter(|_| whole && own).map(|length| length.get());
        let videos = of_runs
            .entry(summary.index)
            .or_insert(Videos { first: view.index, duration: Some(0.0) });
        videos.duration = videos.duration.zip(duration).map(|(sum, more)| sum + more);
    }
    let mut compared: Vec<(usize, usize, f64, f64)> = of_runs
        .into_iter()
        .filter_map(|(run, videos)| {
            Some((run, videos.first, videos.duration?, seconds(&ending.runs[run])?))
        })
        .collect();
    compared.sort_by_key(|(run, ..)| *run);
    let of = compared.len();
    let share = out.limit("share") / 100.0;
    compared.retain(|(_, _, duration, run)| *duration < run * share);
    if compared.len() >= SEVERAL && four_in_five(compared.len(), of) {
        let some = compared.len();
        let message = format!("in {some} of {of} runs the video is far shorter than the run");
        out.report(Subject::at("/media"), message).fact("runs", some).fact("of", of);
        return;
    }
    for (_, first, duration, run) in compared {
        let view = MediaView { survey, media: &survey.head.media[first], index: first };
        let message = format!("the run took {run:.0} s, but its video is only {duration} s long");
        out.report(view.subject("/duration"), message)
            .fact("duration", duration)
            .fact("run_seconds", run);
    }
}

/// How long a run took, if its video must show all of it.
fn seconds(summary: &RunSummary) -> Option<f64> {
    let late = &summary.figures.late;
    let whole = summary.outcome() == Some(OutcomeKind::Reached);
    if !whole || late.paused || !late.recordings.is_empty() {
        return None;
    }
    let (started, finished) = run_span(&summary.run)?;
    Some(finished.duration_since(started).as_secs_f64()).filter(|seconds| *seconds <= LONGEST)
}
