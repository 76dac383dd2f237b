//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{LocateView, tolerance};

rule! {
    /// # What it checks
    /// A locate is at a distance that its run came to: not before its zero point and not beyond its last reading, within the
    /// tolerance.
    ///
    /// # Why it matters
    /// The mark on the ground belongs to another run or another distance, and somebody may dig there.
    ///
    /// # Source
    /// Tolerance: the greater of 0.5 % and 1 ft, City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer
    /// Systems.
    ///
    /// # Fails
    /// At `/locates/0/at`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/at", "value": 203}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/locates/1/at", "value": 200.5}]
    /// ```
    ///
    /// # Fix
    /// Correct the distance, or name the run that it belongs to.
    name: "locate-past-run", severity: Error, scope: Locate, since: "0.1", clause: "locates#position",
    facts: {
        "at" = Length "`at` of the locate",
        "surveyed" = Length "`surveyed` of the run" if "the locate lies beyond it",
    },
}

fn check(view: &LocateView<'_>, out: &mut Sink<'_>) {
    let survey = view.ending.survey;
    let Some(summary) = view.ending.run(&view.locate.run) else { return };
    let at = survey.metres(view.locate.at);
    let reads =
        summary.run.counter.as_ref().and_then(|counter| counter.reads).map_or(0.0, |reads| survey.metres(reads));
    if at < reads - tolerance(0.0) {
        let message = format!("located at {}, before the run's zero point", survey.say(view.locate.at));
        out.report(view.subject("/at"), message).fact("at", view.locate.at.get());
        return;
    }
    let Some(surveyed) = summary.run.surveyed.filter(|_| !view.ending.lengths_doubtful()) else { return };
    let end = survey.metres(surveyed);
    if at > end + tolerance(end) {
        let (said, came) = (survey.say(view.locate.at), survey.say(surveyed));
        out.report(view.subject("/at"), format!("located at {said}, but the run came to {came} only"))
            .fact("at", view.locate.at.get())
            .fact("surveyed", surveyed.get());
    }
}
