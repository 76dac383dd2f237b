//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::shifted_column::Shift;
use crate::views::{RunView, Subject};

rule! {
    /// # What it checks
    /// The grades, clock references or quantities of a run are in the row before or after their
    /// own, from some row on (*Mistakes in a column* in Checking). Findings on single rows that only
    /// this causes are not reported.
    ///
    /// # Exactly
    /// A value that does not fit its row is
    ///
    /// - a clock reference that the code requires and the row has not, that it does not take, or that
    ///   is an hour for an arc or the reverse;
    /// - a quantity that the code requires and the row has not, that it does not take, of another
    ///   dimension, or out of range;
    /// - in each aspect, a grade that is not the scheme's certain one, that is missing where the
    ///   scheme gives a certain one, or that the code does not have.
    ///
    /// For each of `grades`, `clock` and `quantities`, and both directions, the values of all rows
    /// from some row to the end of the run are taken from the next row, or the one before. With
    /// another row's quantities the scheme's grade is computed again. If the best of these leaves at
    /// least four fewer values that do not fit, and at most a fifth of them, there is a finding at
    /// the run's observations. Of equally good ones the first is taken, in this order: grades,
    /// clock, quantities; the next row first; the earliest row.
    ///
    /// # Why it matters
    /// A cell was inserted or deleted in a table: every value below it describes another defect.
    ///
    /// # Source
    /// How many must agree: common practice, no source.
    ///
    /// # Fails
    /// At `/runs/0/observations`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/2/clock"},
    ///  {"op": "replace", "path": "/runs/0/observations/3/clock", "value": {"from": 11, "to": 1}},
    ///  {"op": "add", "path": "/runs/0/observations/4/clock", "value": {"at": 2}},
    ///  {"op": "remove", "path": "/runs/0/observations/5/clock"},
    ///  {"op": "add", "path": "/runs/0/observations/6/clock", "value": {"from": 5, "to": 7}},
    ///  {"op": "add", "path": "/runs/0/observations/5", "value":
    ///   {"id": "5a", "at": 100, "code": "connection.preformed", "quantities": [{"value": 4, "unit": "in"}]}},
    ///  {"op": "add", "path": "/runs/0/observations/6", "value":
    ///   {"id": "5b", "at": 104, "code": "water.level", "clock": {"at": 10}, "quantities": [{"value": 6, "unit": "percent"}]}}]
    /// ```
    ///
    /// # Passes
    /// One clock reference is in the wrong row.
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/3/clock"},
    ///  {"op": "add", "path": "/runs/0/observations/4/clock", "value": {"at": 2}}]
    /// ```
    ///
    /// # Fix
    /// Move the column back by a row at its source.
    name: "column-shifted", severity: Error, scope: Run, since: "0.1", clause: "observations#order",
    needs: [Codes],
    concludes_from: ["pipe.material", "pipe.height", "pipe.shape"],
    facts: {
        "column" = Text "the key of the column: `grades`, `clock` or `quantities`",
        "misfits" = Count "values of the run that do not fit their rows",
        "left" = Count "values that would not fit if the column were moved back",
        "from" = Id "the first row whose value is in another row",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(Shift { column, from, down, wrong, left }) = run.shift() else { return };
    let (key, row) = (column.key(), run.run.observations.get(*from));
    let Some(row) = row else { return };
    let side = if *down { "late" } else { "early" };
    let message = format!(
        "from row {} on, the {key} of {} are one row too {side}: {wrong} values do not fit their \
         rows as they are; moved back by a row, {}",
        row.id,
        run.run.id,
        if *left == 0 { "all fit".to_owned() } else { format!("{left} do not") }
    );
    // Without the run's ids, since it takes the place of findings on many rows.
    let subject = Subject::at(run.subject("/observations").path);
    out.report(subject, message)
        .fact("column", key)
        .fact("misfits", *wrong)
        .fact("left", *left)
        .fact("from", row.id.as_str());
}
