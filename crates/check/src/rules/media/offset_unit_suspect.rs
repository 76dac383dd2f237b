//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::late_offsets::{LateRecording, SEVERAL};
use crate::support::map_lengths::four_in_five;
use crate::views::{Ending, RunSummary, Subject};

rule! {
    /// # What it checks
    /// The times that a run gives in a recording are in minutes. If that holds for most runs, it is
    /// one finding.
    ///
    /// # Exactly
    /// At least four rows of the run have an `offset` into one recording of 120 s or more, the
    /// farthest of them is at 80 % of `surveyed` or beyond, and the latest offset, times 60, is
    /// from 50 to 102 % of `duration`. If that holds for at least three runs, and for four in five
    /// of those that give times in recordings of known duration, the finding is at `/runs`;
    /// otherwise at the observations of each.
    ///
    /// # Why it matters
    /// Every defect is looked for in the first seconds of the video, where it is not.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/observations`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/media/1/offset", "value": 0.8}, {"op": "replace", "path": "/runs/0/observations/3/media/0/offset", "value": 2.2},
    ///  {"op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 6.3}, {"op": "replace", "path": "/runs/0/observations/5/media/0/offset", "value": 8},
    ///  {"op": "replace", "path": "/runs/0/observations/6/media/0/offset", "value": 13.2}]
    /// ```
    ///
    /// # Passes
    /// Only the first part is timed.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/media/1/offset", "value": 9}, {"op": "remove", "path": "/runs/0/observations/3/media"},
    ///  {"op": "remove", "path": "/runs/0/observations/4/media"}, {"op": "remove", "path": "/runs/0/observations/5/media"},
    ///  {"op": "remove", "path": "/runs/0/observations/6/media"}]
    /// ```
    ///
    /// # Fix
    /// Multiply the times by 60: `offset` is in seconds.
    name: "offset-unit-suspect", severity: Warning, scope: Ending, since: "0.1", clause: "media#time-in-recordings",
    concludes_from: ["media", "media.duration", "runs", "runs.surveyed", "observations", "observations.at", "observations.media"],
    facts: {
        "runs" = Count "runs with such times" if "most runs have them",
        "of" = Count "runs that give times in recordings" if "`runs` is present",
        "media" = Id "the recording" if "the run is reported by itself",
        "latest" = Seconds "the latest offset, as recorded" if "the run is reported by itself",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let timed = ending.runs.iter().filter(|summary| summary.figures.late.timed).count();
    let found: Vec<(&RunSummary, &LateRecording)> = ending
        .runs
        .iter()
        .filter_map(|summary| Some((summary, summary.figures.late.minutes.first()?)))
        .collect();
    if found.len() >= SEVERAL && four_in_five(found.len(), timed) {
        let some = found.len();
        let message =
            format!("in {some} of {timed} runs the times in the recordings seem to be in minutes");
        out.report(Subject::at("/runs"), message).fact("runs", some).fact("of", timed);
        return;
    }
    for (summary, recording) in found {
        let media = &ending.survey.head.media[recording.media];
        let (id, latest) = (media.id.as_str(), recording.latest);
        let message = format!(
            "the times in {id:?} seem to be in minutes: the last is {latest}, but it is {} s long",
            media.duration.map_or(0.0, |duration| duration.get())
        );
        out.report(summary.subject("/observations"), message)
            .fact("media", id)
            .fact("latest", latest);
    }
}
