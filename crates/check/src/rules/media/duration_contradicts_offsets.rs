//! See the rule's documentation below.

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::support::late_offsets::{LateRecording, SEVERAL};
use crate::support::map_lengths::four_in_five;
use crate::views::{Ending, MediaView, Subject};

rule! {
    /// # What it checks
    /// Three or more observations are shown after the end of one recording: its duration is wrong,
    /// or their times are. If that holds for most recordings of the document, it is one finding.
    ///
    /// # Exceptions
    /// - In each recording of the run at most two are (`media-offset-past-end`).
    ///
    /// # Exactly
    /// - An observation is *late* if its `offset` is greater than `duration` + 1 s. A recording is
    ///   *short* if an observation of a run is late in it, and three or more of that run are in one
    ///   recording.
    /// - At least three recordings are short, and at least four in five of the runs that give times
    ///   in recordings of known duration have a short one: one finding at `/media`. Otherwise each
    ///   is reported at its `duration`.
    ///
    /// # Why it matters
    /// A duration in minutes, or times in milliseconds or frames, make every time in the recording
    /// useless; or the recording was cut off.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// In minutes, at `/media/1/duration`:
    /// ```json
    /// [{"op": "replace", "path": "/media/1/duration", "value": 13.3}]
    /// ```
    ///
    /// # Passes
    /// Two are late.
    /// ```json
    /// [{"op": "replace", "path": "/media/1/duration", "value": 400}]
    /// ```
    ///
    /// # Fix
    /// Play the recording to its end; correct `duration`, which is in seconds, or the times in it.
    name: "duration-contradicts-offsets", severity: Error, scope: Ending, since: "0.1", clause: "media#time-in-recordings",
    concludes_from: ["media", "media.duration", "runs", "observations", "observations.media"],
    facts: {
        "recordings" = Count "recordings that are short" if "most recordings are",
        "of" = Count "runs that give times in recordings" if "`recordings` is present",
        "rows" = Count "late observations",
        "latest" = Seconds "the latest time" if "the recording is reported by itself",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let mut short: FxHashMap<usize, LateRecording> = FxHashMap::default();
    let (mut runs, mut timed) = (0, 0);
    for summary in ending.runs {
        timed += usize::from(summary.figures.late.timed);
        if !summary.figures.late.has_several() {
            continue;
        }
        runs += 1;
        for late in &summary.figures.late.recordings {
            let known = short.entry(late.media).or_insert(LateRecording { rows: 0, ..*late });
            known.rows += late.rows;
            known.latest = known.latest.max(late.latest);
        }
    }
    let mut short: Vec<LateRecording> = short.into_values().collect();
    short.sort_by_key(|late| late.media);
    let survey = ending.survey;
    if short.len() >= SEVERAL && four_in_five(runs, timed) {
        let (some, rows) = (short.len(), short.iter().map(|late| late.rows).sum::<usize>());
        let message = format!(
            "{rows} rows are shown after the end of their recordings, in {some} recordings"
        );
        let finding = out.report(Subject::at("/media"), message);
        finding.fact("recordings", some).fact("of", timed).fact("rows", rows);
        if let Some(help) = same_help(ending, &short) {
            finding.help(help);
        }
        return;
    }
    for late in &short {
        let view = MediaView { survey, media: &survey.head.media[late.media], index: late.media };
        let Some(duration) = view.media.duration else { continue };
        let (rows, latest) = (late.rows, late.latest);
        let message =
            format!("{duration} s long, but {rows} rows are shown later in it, up to {latest} s");
        let finding = out.report(view.subject("/duration"), message);
        finding.fact("rows", rows).fact("latest", latest);
        if let Some(help) = help(duration.get(), latest) {
            finding.help(help);
        }
    }
}

/// What explains all short recordings, if one unit does.
fn same_help(ending: &Ending<'_>, short: &[LateRecording]) -> Option<&'static str> {
    let explain = |late: &LateRecording| {
        let duration = ending.survey.head.media[late.media].duration?;
        help(duration.get(), late.latest)
    };
    let first = short.first().and_then(explain)?;
    short.iter().all(|late| explain(late) == Some(first)).then_some(first)
}

/// What explains a duration and a later time: the last row is shown near the end of a recording.
fn help(duration: f64, latest: f64) -> Option<&'static str> {
    let near = |end: f64| (0.5..=1.02).contains(&(latest / end));
    if near(duration * 60.0) {
        Some("the duration seems to be in minutes; `duration` is in seconds")
    } else if near(duration * 1000.0) {
        Some("the times seem to be in milliseconds; `offset` is in seconds")
    } else if near(duration * 25.0) || near(duration * 30.0) {
        Some("the times seem to count frames; `offset` is in seconds")
    } else {
        None
    }
}
