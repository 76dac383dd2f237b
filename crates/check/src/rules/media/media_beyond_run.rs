//! See the rule's documentation below.

use obvert_model::number::Length;

use crate::sink::Sink;
use crate::views::{Ending, tolerance};

rule! {
    /// # What it checks
    /// A still that belongs to a run was taken at a distance that the run came to: not before its zero point and not
    /// beyond its last reading, within the tolerance.
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
    /// Correct the distance, or name the run that it belongs to.
    name: "media-beyond-run", severity: Error, scope: Ending, since: "0.1", clause: "media#references",
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if ending.lengths_doubtful() {
        return;
    }
    let survey = ending.survey;
    for view in survey.all_media() {
        let (Some(at), Some(run)) = (view.media.at, &view.media.run) else { continue };
        let Some(summary) = ending.run(run) else { continue };
        let reads = summary.run.counter.as_ref().and_then(|counter| counter.reads).map_or(0.0, Length::get);
        let foot = tolerance(0.0) / survey.head.units.length.metres();
        let said = survey.say(at);
        let message = match summary.run.surveyed {
            _ if at.get() < reads - foot => format!("taken at {said}, before the zero point of {:?}", run.as_str()),
            Some(end) if survey.metres(at) > survey.metres(end) + tolerance(survey.metres(end)) => {
                // A closing row farther out says that the reading is wrong, not the picture.
                if summary.marks.finish.is_some_and(|finish| finish >= at) || summary.marks.zeroed_again {
                    continue;
                }
                format!("taken at {said}, but {:?} came to {} only", run.as_str(), survey.say(end))
            }
            _ => continue,
        };
        out.report(view.spot("/at"), message).fact("at", at.get());
    }
}
