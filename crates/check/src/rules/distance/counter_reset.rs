//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::row_order;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The counter was set to zero once. It seems to have been set again where a row falls back to the zero point, within
    /// a foot, and the rows after it go on from there. Other rules about the length of such a run stand back. Rows that only repeat
    /// those above them were entered twice, and `observation-duplicate` says so.
    ///
    /// # Why it matters
    /// Everything after that row is recorded at a distance that is too short by what had been counted before: a repair is
    /// dug for near the start of the pipe.
    ///
    /// # Source
    /// A counter is zeroed at the start of each inspection, and set to the earlier distance when a run is resumed on the
    /// way: City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer Systems.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/at", "value": 0},
    ///  {"op": "replace", "path": "/runs/0/observations/5/at", "value": 23.7},
    ///  {"op": "replace", "path": "/runs/0/observations/6/at", "value": 103.7},
    ///  {"op": "replace", "path": "/runs/0/surveyed", "value": 103.7}]
    /// ```
    ///
    /// # Passes
    /// One row that was mistyped, and the rows after it go on.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/at", "value": 0.9}]
    /// ```
    ///
    /// Rows that were pasted twice, which is another mistake.
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/1"},
    ///  {"op": "copy", "from": "/runs/0/observations/0", "path": "/runs/0/observations/6"},
    ///  {"op": "copy", "from": "/runs/0/observations/1", "path": "/runs/0/observations/7"},
    ///  {"op": "copy", "from": "/runs/0/observations/2", "path": "/runs/0/observations/8"},
    ///  {"op": "replace", "path": "/runs/0/observations/6/id", "value": "8"},
    ///  {"op": "replace", "path": "/runs/0/observations/7/id", "value": "9"},
    ///  {"op": "replace", "path": "/runs/0/observations/8/id", "value": "10"}]
    /// ```
    ///
    /// # Fix
    /// Add what the counter had shown before it was set again to this row and to the ones after it.
    name: "counter-reset", severity: Error, scope: Run, since: "0.1", clause: "runs#counter",
    facts: {
        "at" = Length "`at` of the first row after the counter was set",
        "before" = Length "`at` of the row before it",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if !run.marks().counter_reset {
        return;
    }
    let Some(index) = row_order::counter_reset(run) else { return };
    let rows = &run.run.observations;
    let (at, before) = (rows[index].at, rows[index - 1].at);
    let row = run.row(index);
    let message = format!(
        "the counter seems to have been set to zero again: {} follows {}, and the rows go on from there",
        run.survey.say(at),
        run.survey.say(before)
    );
    out.report(row.subject("/at"), message).fact("at", at.get()).fact("before", before.get());
}
