//! See the rule's documentation below.

use obvert_model::tables::Observation;

use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// Many rows of a run, one after the other, have the same clock reference and the same amounts.
    /// That is one finding, at the first of them.
    ///
    /// # Exceptions
    /// - Connections: one developer connects all houses of a street alike.
    /// - The clock reference is the full circle.
    /// - All of the rows are at joints of a pipe with `joint_spacing`: such defects recur, and
    ///   amounts are estimated in steps.
    ///
    /// # Exactly
    /// Rows of a code without a role and with a clock reference or an amount are taken in order. At
    /// least `rows` of them follow each other with equal `clock` and `quantities`, both recorded,
    /// at different distances.
    ///
    /// # Why it matters
    /// The values of one row were filled down the column, or the form kept them from the row
    /// before: grades and repairs follow from values that were not observed.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/observations/5`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/6", "value": {"id": "6a", "at": 124, "code": "roots.fine", "quantities": [{"value": 10, "unit": "percent"}], "clock": {"from": 5, "to": 7}, "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/7", "value": {"id": "6b", "at": 128, "code": "roots.fine", "quantities": [{"value": 10, "unit": "percent"}], "clock": {"from": 5, "to": 7}, "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/8", "value": {"id": "6c", "at": 131, "code": "deposit.attached", "quantities": [{"value": 10, "unit": "percent"}], "clock": {"from": 5, "to": 7}}},
    ///  {"op": "add", "path": "/runs/0/observations/9", "value": {"id": "6d", "at": 136, "code": "roots.tap", "quantities": [{"value": 10, "unit": "percent"}], "clock": {"from": 5, "to": 7}, "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/10", "value": {"id": "6e", "at": 140, "code": "roots.fine", "quantities": [{"value": 10, "unit": "percent"}], "clock": {"from": 5, "to": 7}, "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/11", "value": {"id": "6f", "at": 144, "code": "roots.fine", "quantities": [{"value": 10, "unit": "percent"}], "clock": {"from": 5, "to": 7}, "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/12", "value": {"id": "6g", "at": 148, "code": "deposit.grease", "quantities": [{"value": 10, "unit": "percent"}], "clock": {"from": 5, "to": 7}}},
    ///  {"op": "add", "path": "/runs/0/observations/13", "value": {"id": "6h", "at": 152, "code": "roots.fine", "quantities": [{"value": 10, "unit": "percent"}], "clock": {"from": 5, "to": 7}, "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/14", "value": {"id": "6i", "at": 156, "code": "roots.fine", "quantities": [{"value": 10, "unit": "percent"}], "clock": {"from": 5, "to": 7}, "joint": true}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/6", "value": {"id": "6a", "at": 124, "code": "roots.fine", "quantities": [{"value": 10, "unit": "percent"}], "clock": {"from": 5, "to": 7}, "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/7", "value": {"id": "6b", "at": 128, "code": "roots.fine", "quantities": [{"value": 10, "unit": "percent"}], "clock": {"from": 5, "to": 7}, "joint": true}}]
    /// ```
    ///
    /// # Fix
    /// Check the rows with the video, and enter what each of them shows.
    name: "values-repeated", severity: Warning, scope: Run, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    limits: {
        "rows" = 10.0 "rows" "fewest rows; common practice, no published source",
    },
    facts: { "rows" = Count "rows with the same values" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let least = out.limit("rows");
    let mut first: Option<RowView<'_>> = None;
    let (mut rows, mut last) = (0_u32, f64::NEG_INFINITY);
    let spaced = run.pipe.is_some_and(|view| view.pipe.joint_spacing.is_some());
    let mut at_joints = true;
    let report = |first: Option<RowView<'_>>, rows: u32, joints: bool, out: &mut Sink<'_>| {
        let Some(first) = first.filter(|_| f64::from(rows) >= least && !(joints && spaced)) else {
            return;
        };
        let message =
            format!("{rows} rows from here on have the same clock reference and the same amounts");
        out.report(first.subject(""), message).fact("rows", rows);
    };
    for row in run.rows().filter(differs) {
        let same = first.is_some_and(|first| same_values(first.row, row.row));
        if !same {
            report(first, rows, at_joints, out);
            at_joints = true;
            (first, rows, last) = (Some(row).filter(counts), 0, f64::NEG_INFINITY);
        }
        at_joints &= row.row.joint == Some(true);
        if row.row.at.get() > last {
            rows += 1;
            last = row.row.at.get();
        }
    }
    report(first, rows, at_joints, out);
}

/// Whether a row has values that differ from place to place.
fn differs(row: &RowView<'_>) -> bool {
    let role = row.code.is_none_or(|code| code.role.is_some());
    !role && (row.row.clock.is_some() || !row.row.quantities.is_empty())
}

/// Whether a row has a clock reference that is not the full circle, and an amount.
fn counts(row: &RowView<'_>) -> bool {
    let reading = row.row.clock.as_ref().and_then(|clock| clock.reading());
    reading.is_some_and(|reading| reading.hours() < 12.0) && !row.row.quantities.is_empty()
}

fn same_values(a: &Observation, b: &Observation) -> bool {
    a.clock == b.clock && a.quantities == b.quantities
}
