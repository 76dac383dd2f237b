//! See the rule's documentation below.

use obvert_model::number::Length;

use crate::sink::Sink;
use crate::views::{Ending, MediaView, RunSummary, tolerance};

rule! {
    /// # What it checks
    /// A still that belongs to a run was taken at a distance that the run came to: not before its zero point and not
    /// beyond its last reading, within the tolerance. Three or more that lie beyond one run are one finding, at its
    /// reading.
    ///
    /// # Why it matters
    /// The picture cannot be put anywhere along the pipe: its distance was mistyped, or it belongs to another run.
    ///
    /// # Source
    /// Tolerance: the greater of 0.5 % and 1 ft, City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer
    /// Systems.
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
    /// Correct the distance, or name the run that it belongs to. Where several lie beyond one run, see in the video how
    /// far it came.
    name: "media-beyond-run", severity: Error, scope: Ending, since: "0.1", clause: "media#references",
    concludes_from: ["runs", "observations", "observations.media"],
    facts: {
        "files" = Count "files of the run that were taken outside it" if "they are three or more",
        "at" = Length "`at` of the file" if "it is told by itself",
    },
}

/// So many speak of the run and not of themselves.
const WHOLE: usize = 3;

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
        tell(ending, &ending.runs[of_run[0].0], of_run, out);
    }
}

fn tell(ending: &Ending<'_>, summary: &RunSummary, of_run: &[(usize, MediaView<'_>)], out: &mut Sink<'_>) {
    let survey = ending.survey;
    let end = summary.run.surveyed;
    if let (true, Some(end)) = (of_run.len() >= WHOLE, end) {
        let (some, end) = (of_run.len(), survey.say(end));
        out.report(
            summary.subject("/surveyed"),
            format!("{some} files of the run were taken before its start or beyond {end}"),
        )
        .fact("files", some);
        return;
    }
    for (_, view) in of_run {
        let Some(at) = view.media.at else { continue };
        let (said, run) = (survey.say(at), summary.run.id.as_str());
        let message = match end.filter(|end| *end < at) {
            Some(end) => format!("taken at {said}, but {run:?} came to {} only", survey.say(end)),
            None => format!("taken at {said}, before the zero point of {run:?}"),
        };
        out.report(view.subject("/at"), message).fact("at", at.get());
    }
}

fn is_beyond(ending: &Ending<'_>, summary: &RunSummary, at: Length) -> bool {
    let survey = ending.survey;
    let reads = summary.run.counter.as_ref().and_then(|counter| counter.reads).map_or(0.0, Length::get);
    if at.get() < reads - tolerance(0.0) / survey.head.units.length.metres() {
        return true;
    }
    // A closing row farther out says that the reading is wrong, not the picture.
    let closes = summary.marks.finish.is_some_and(|finish| finish >= at) || summary.marks.counter_reset;
    let end = summary.run.surveyed.map(|end| survey.metres(end));
    !closes && end.is_some_and(|end| survey.metres(at) > end + tolerance(end))
}
