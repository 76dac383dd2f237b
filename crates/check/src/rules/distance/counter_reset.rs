//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::row_order;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The counter was probably reset: a row falls back to within a foot of the zero point, and the
    /// distances increase again after it. Rules about the length of the run are then skipped.
    ///
    /// # Exceptions
    /// - The rows only repeat those above them (`observation-duplicate`).
    ///
    /// # Exactly
    /// *Reset* in Checking.
    ///
    /// # Why it matters
    /// Every later distance is too short: a repair is dug for near the start of the pipe.
    ///
    /// # Source
    /// A counter is zeroed at the start of each inspection, and set to the earlier distance when a
    /// run is resumed: City of Sunny Isles Beach FL, Section 02762.
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
    /// Two rows where the counter was set to zero. At `/runs/0/observations/4/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/at", "value": 0},
    ///  {"op": "replace", "path": "/runs/0/observations/5/at", "value": 0},
    ///  {"op": "replace", "path": "/runs/0/observations/6/at", "value": 20},
    ///  {"op": "replace", "path": "/runs/0/surveyed", "value": 20}]
    /// ```
    ///
    /// # Passes
    /// One mistyped row.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/at", "value": 0.9}]
    /// ```
    /// Rows pasted twice.
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
    /// Add the reading before the reset to this row and all later ones.
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
        "the counter was probably reset: {} follows {}, and the distances increase again from there",
        run.survey.format_length(at),
        run.survey.format_length(before)
    );
    out.report(row.subject("/at"), message).fact("at", at.get()).fact("before", before.get());
}
