//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{LocateView, tolerance};

rule! {
    /// # What it checks
    /// A locate is before the zero point of its run, or beyond its last reading, by more than the
    /// tolerance.
    ///
    /// # Exactly
    /// `at` is less than *reads* − tolerance(0), or greater than `surveyed` +
    /// tolerance(`surveyed`). The second is skipped if lengths are in a doubtful unit.
    ///
    /// # Why it matters
    /// The mark on the ground belongs to another run or distance, and somebody may dig there.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762.
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
        "surveyed" = Length "`surveyed` of the run" if "the locate is beyond it",
    },
}

fn check(view: &LocateView<'_>, out: &mut Sink<'_>) {
    let survey = view.ending.survey;
    let Some(summary) = view.ending.run(&view.locate.run) else { return };
    let at = survey.metres(view.locate.at);
    let reads = summary
        .run
        .counter
        .as_ref()
        .and_then(|counter| counter.reads)
        .map_or(0.0, |reads| survey.metres(reads));
    if at < reads - tolerance(0.0) {
        let message = format!(
            "located at {}, before the run's zero point",
            survey.format_length(view.locate.at)
        );
        out.report(view.subject("/at"), message).fact("at", view.locate.at.get());
        return;
    }
    let Some(surveyed) = summary.run.surveyed.filter(|_| !view.ending.lengths_doubtful()) else {
        return;
    };
    let end = survey.metres(surveyed);
    if at > end + tolerance(end) {
        let (said, came) = (survey.format_length(view.locate.at), survey.format_length(surveyed));
        out.report(view.subject("/at"), format!("located at {said}, but the run ended at {came}"))
            .fact("at", view.locate.at.get())
            .fact("surveyed", surveyed.get());
    }
}
