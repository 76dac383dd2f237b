//! See the rule's documentation below.

use obvert_model::edit::Edit;

use crate::sink::Sink;
use crate::support::row_order;
use crate::support::run_extent::exceeds;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The start row's distance is what the counter showed at its zero point (`counter.reads`, 0 when absent), to one
    /// step of the counter (`counter.resolution` of the run) or the limit `slack`, whichever is more. A start row below it is left to `distance-negative`, one that is not settled to the
    /// rules about order.
    ///
    /// # Why it matters
    /// A counter that was not set before the camera went in adds the same error to every distance of the run.
    ///
    /// # Source
    /// One step where the counter's resolution is not stated: tenths of a foot, as a scope of work of Decatur IL has
    /// them on the screen. That a counter may be set to the distance of the camera's first view: City of Sunny Isles
    /// Beach FL, Section 02762, Televising Storm Sewer Systems.
    ///
    /// # Fails
    /// At `/runs/0/observations/0/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/0/at", "value": 4.7},
    ///  {"op": "replace", "path": "/runs/0/observations/1/at", "value": 4.7}]
    /// ```
    ///
    /// # Passes
    /// One step of the counter.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/0/at", "value": 0.1}]
    /// ```
    /// A counter that was set to the distance of the camera's first view.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/counter", "value": {"zero": "structure-centre", "offset": 2.5, "reads": 2.5}},
    ///  {"op": "replace", "path": "/runs/1/observations/0/at", "value": 2.5}]
    /// ```
    ///
    /// # Fix
    /// State in `counter.reads` what the counter showed when the run started, or correct all distances of the run by
    /// the difference.
    name: "counter-not-zeroed", severity: Warning, scope: Run, since: "0.1", clause: "runs#counter",
    needs: [Codes],
    limits: {
        "slack" = 0.03048 "m" "what is allowed at least, a step of most counters: 0.1 ft, Decatur IL scope of work",
    },
    facts: {
        "at" = Length "`at` of the start row",
        "reads" = Length "*reads*: what the counter is said to have shown at its zero point",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(start) = run.start_row() else { return };
    let (at, reads) = (start.row.at, run.reads());
    if at.get() <= reads || !row_order::in_order(run, start.index) {
        return;
    }
    let step =
        run.run.counter.as_ref().and_then(|counter| counter.resolution).map_or(0.0, |step| run.survey.metres(step));
    let unit = run.survey.head.units.length;
    if exceeds((at.get() - reads) * unit.metres(), step.max(out.limit("slack"))) {
        let said = run.survey.say(at);
        let message = format!("the run starts at {said}, but the counter is said to have shown {reads} {unit} there");
        let finding = out.report(start.subject("/at"), message).fact("at", at.get()).fact("reads", reads);
        if run.run.counter.is_some() {
            let edits = vec![Edit::add(run.subject("/counter/reads").path, at.get())];
            finding.fix_if_confirmed(format!("the counter showed {said} at its zero point"), edits);
        }
    }
}
