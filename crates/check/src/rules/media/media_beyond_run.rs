//! See the rule's documentation below.

use obvert_model::number::Length;

use crate::sink::Sink;
use crate::views::{Ending, MediaView, RunSummary, tolerance};

rule! {
    /// # What it checks
    /// A media file was taken before the zero point of its run, or beyond its last reading, by more
    /// than the tolerance. Three or more of one run are one finding, at `surveyed`.
    ///
    /// # Exceptions
    /// - Lengths are in a doubtful unit (`length-unit-suspect`).
    /// - Beyond the last reading: the closing row is at the same distance or farther, or the
    ///   counter seems to have been set to zero again.
    ///
    /// # Exactly
    /// `at` is less than *reads* − tolerance(0), or greater than `surveyed` +
    /// tolerance(`surveyed`).
    ///
    /// # Why it matters
    /// The picture cannot be placed along the pipe: its distance was mistyped, or it belongs to
    /// another run.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762.
    ///
    /// # Fails
    /// At `/media/0/at`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/at", "value": 1240}]
    /// ```
    /// At `/media/0/at`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/at", "value": -12.4}]
    /// ```
    ///
    /// # Passes
    /// 1 ft is the tolerance.
    /// ```json
    /// [{"op": "replace", "path": "/media/2/at", "value": 91}]
    /// ```
    ///
    /// # Fix
    /// Correct the distance, or name the run that it belongs to. If several lie beyond one run,
    /// check in the video how far it came.
    name: "media-beyond-run", severity: Error, scope: Ending, since: "0.1", clause: "media#references",
    concludes_from: ["runs", "observations", "observations.media"],
    facts: {
        "files" = Count "files of the run that were taken outside it" if "there are three or more",
        "at" = Length "`at` of the file" if "it is reported by itself",
    },
}

/// From this many files on, the run is taken to be wrong and not the files.
const SEVERAL: usize = 3;

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if ending.lengths_doubtful() {
        return;
    }
    let mut beyond: Vec<(usize, MediaView<'_>)> = Vec::new();
    for view in ending.survey.all_media() {
        let run = view.media.run.as_ref().and_then(|run| ending.run(run));
        if let (Some(at), Some(summary)) = (view.media.at, run)
            && is_beyond(ending, summary, at)
        {
            beyond.push((summary.index, view));
        }
    }
    beyond.sort_by_key(|(run, view)| (*run, view.index));
    for of_run in beyond.chunk_by(|a, b| a.0 == b.0) {
        report(ending, &ending.runs[of_run[0].0], of_run, out);
    }
}

fn report(
    ending: &Ending<'_>,
    summary: &RunSummary,
    of_run: &[(usize, MediaView<'_>)],
    out: &mut Sink<'_>,
) {
    let survey = ending.survey;
    let end = summary.run.surveyed;
    if let (true, Some(end)) = (of_run.len() >= SEVERAL, end) {
        let (some, end) = (of_run.len(), survey.format_length(end));
        out.report(
            summary.subject("/surveyed"),
            format!("{some} files of the run were taken before its start or beyond {end}"),
        )
        .fact("files", some);
        return;
    }
    for (_, view) in of_run {
        let Some(at) = view.media.at else { continue };
        let (at_text, run) = (survey.format_length(at), summary.run.id.as_str());
        let message = match end.filter(|end| *end < at) {
            Some(end) => {
                format!(
                    "taken at {at_text}, but the run {run:?} ended at {}",
                    survey.format_length(end)
                )
            }
            None => format!("taken at {at_text}, before the zero point of the run {run:?}"),
        };
        out.report(view.subject("/at"), message).fact("at", at.get());
    }
}

fn is_beyond(ending: &Ending<'_>, summary: &RunSummary, at: Length) -> bool {
    let survey = ending.survey;
    let reads =
        summary.run.counter.as_ref().and_then(|counter| counter.reads).map_or(0.0, Length::get);
    if at.get() < reads - tolerance(0.0) / survey.head.units.length.metres() {
        return true;
    }
    // If the closing row is as far out, the reading is wrong and not the picture.
    let closes = summary.figures.marks.finish.is_some_and(|finish| finish >= at)
        || summary.figures.marks.counter_reset;
    let end = summary.run.surveyed.map(|end| survey.metres(end));
    !closes && end.is_some_and(|end| survey.metres(at) > end + tolerance(end))
}
