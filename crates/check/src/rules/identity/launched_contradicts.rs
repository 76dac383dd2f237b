//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::clock::hours_between;
use crate::views::{RunView, tolerance};

rule! {
    /// # What it checks
    /// A run was launched from a main into a pipe that is not a lateral, or at another main,
    /// distance or hour than the lateral joins.
    ///
    /// # Exactly
    /// `launched` is compared with the pipe's `joins` in this order, and the first difference is
    /// reported: `joins` is missing; `pipe` differs; `at` differs by more than twice the tolerance
    /// of the greater; `clock` differs by more than one hour. What either lacks, and an invalid
    /// hour, is not compared.
    ///
    /// # Why it matters
    /// The camera was in another lateral, and its defects are repaired in the garden next door.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762.
    ///
    /// # Fails
    /// At `/runs/3/launched/at`:
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "joins": {"pipe": "L-101", "at": 60}}},
    ///  {"op": "add", "path": "/runs/-", "value": {"id": "R-3", "pipe": "L-3", "to": "C-7", "direction": "upstream", "started": "2026-05-06T11:31:00-05:00",
    ///   "launched": {"pipe": "L-101", "at": 84}, "counter": {"zero": "pipe-end"}, "surveyed": 30, "observations": [
    ///   {"id": "1", "at": 0, "code": "run.start"}, {"id": "2", "at": 30, "code": "run.finish"}]}}]
    /// ```
    /// The pipe is not a lateral, at `/runs/0/launched`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/launched", "value": {"pipe": "L-102"}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "joins": {"pipe": "L-101", "at": 60}}},
    ///  {"op": "add", "path": "/runs/-", "value": {"id": "R-3", "pipe": "L-3", "to": "C-7", "direction": "upstream", "started": "2026-05-06T11:31:00-05:00",
    ///   "launched": {"pipe": "L-101", "at": 61.5}, "counter": {"zero": "pipe-end"}, "surveyed": 30, "observations": [
    ///   {"id": "1", "at": 0, "code": "run.start"}, {"id": "2", "at": 30, "code": "run.finish"}]}}]
    /// ```
    ///
    /// # Fix
    /// Correct where the camera was launched, or where the lateral joins.
    name: "launched-contradicts", severity: Error, scope: Run, since: "0.1", clause: "runs#launched-runs",
    concludes_from: ["pipes.joins"],
    facts: {
        "joins" = Id "pipe that the lateral joins by its record" if "it is another pipe",
        "joins_at" = Length "`joins.at` of the lateral" if "the distances differ",
        "joins_clock" = ClockHour "`joins.clock` of the lateral" if "the hours differ",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let (Some(launched), Some(view)) = (&run.run.launched, run.pipe) else { return };
    let survey = run.survey;
    let pipe = view.pipe.id.as_str();
    let Some(joins) = &view.pipe.joins else {
        let message = format!("the run was launched from a main, but {pipe:?} is not a lateral");
        out.report(run.subject("/launched"), message);
        return;
    };
    let main = joins.pipe.as_str();
    if launched.pipe != joins.pipe {
        let message =
            format!("launched from {:?}, but {pipe:?} joins {main:?}", launched.pipe.as_str());
        out.report(run.subject("/launched/pipe"), message).fact("joins", main);
        return;
    }
    if let (Some(from), Some(at)) = (launched.at, joins.at) {
        let (metres, joined) = (survey.metres(from), survey.metres(at));
        if (metres - joined).abs() > 2.0 * tolerance(joined.max(metres)) {
            let [launched_at, joins_at] = [from, at].map(|distance| survey.format_length(distance));
            let message = format!(
                "launched at {launched_at} of {main:?}, but {pipe:?} joins it at {joins_at}"
            );
            out.report(run.subject("/launched/at"), message).fact("joins_at", at.get());
            return;
        }
    }
    if let (Some(from), Some(clock)) = (launched.clock, joins.clock)
        && from.is_valid()
        && clock.is_valid()
        && hours_between(from.get(), clock.get()) > 1.0
    {
        let message = format!(
            "launched at {from} o'clock of {main:?}, but {pipe:?} joins it at {clock} o'clock"
        );
        out.report(run.subject("/launched/clock"), message).fact("joins_clock", clock.get());
    }
}
