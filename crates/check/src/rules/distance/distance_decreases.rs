//! See the rule's documentation below.

use obvert_model::lists::Role;

use crate::sink::Sink;
use crate::support::{reordering, row_order};
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A row has a lower distance than the row above it. The one of the two that is out of step is
    /// reported. A disordered run is one finding, and rules that depend on the order are skipped.
    ///
    /// # Exceptions
    /// - Repeated rows begin with the lower row (`observation-duplicate`).
    /// - Either row has a misplaced decimal point (`decimal-slip`).
    /// - The lower row is below *reads* (`distance-negative`).
    /// - The upper row is out of step and beyond the run (`observation-past-run-end`).
    /// - The counter was probably reset, and the lower row is at most 0.3048 m above *reads*
    ///   (`counter-reset`).
    ///
    /// # Exactly
    /// Each *fall* of a run that is not disordered is one finding, in row order. The *upper* row is
    /// out of step if the row above it, if any, does not lie beyond the lower, and if the row that
    /// follows the lower one lies before the upper or, where none follows, the upper one is past the
    /// end of the run and the lower one is not; otherwise the *lower* is.
    ///
    /// # Why it matters
    /// The distance was mistyped, the row was entered late, or the counter was reset: the defect is
    /// found in the wrong place, or twice.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 0.9}]
    /// ```
    /// The upper row is out of step, at `/runs/0/observations/3/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 121}]
    /// ```
    /// Entered late, as the numbers of the rows show. At `/runs/0/observations/4/at`:
    /// ```json
    /// [{"op": "move", "from": "/runs/0/observations/3", "path": "/runs/0/observations/4"}]
    /// ```
    /// Entered from the far end, at `/runs/2/observations`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/observations/0/at", "value": 90},
    ///  {"op": "replace", "path": "/runs/2/observations/1/at", "value": 0},
    ///  {"op": "add", "path": "/runs/2/observations/1", "value": {"id": "1a", "at": 40, "code": "note.photo"}}]
    /// ```
    /// Sorted by code, at `/runs/0/observations`:
    /// ```json
    /// [{"op": "move", "from": "/runs/0/observations/1", "path": "/runs/0/observations/6"},
    ///  {"op": "move", "from": "/runs/0/observations/5", "path": "/runs/0/observations/0"},
    ///  {"op": "move", "from": "/runs/0/observations/1", "path": "/runs/0/observations/5"},
    ///  {"op": "move", "from": "/runs/0/observations/1", "path": "/runs/0/observations/2"}]
    /// ```
    /// Sorted by id as text, at `/runs/0/observations`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/6/id", "value": "10"},
    ///  {"op": "move", "from": "/runs/0/observations/6", "path": "/runs/0/observations/1"}]
    /// ```
    ///
    /// # Passes
    /// Two observations at one distance are in order.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/at", "value": 31.9}]
    /// ```
    ///
    /// # Fix
    /// Sort the rows if they were entered late; otherwise correct the distance.
    name: "distance-decreases", severity: Error, scope: Run, since: "0.1", clause: "observations#order",
    facts: {
        "first" = Length "`at` of the first row" if "the rows run backwards",
        "last" = Length "`at` of the last row" if "the rows run backwards",
        "rows" = Count "rows of the run" if "the rows are shuffled",
        "misplaced" = Count "rows that would have to be moved" if "the rows are shuffled",
        "at" = Length "`at` of the lower row" if "a single distance decreases",
        "before" = Length "`at` of the upper row" if "a single distance decreases",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let rows = &run.run.observations;
    if run.disordered() {
        report_disordered(run, out);
        return;
    }
    let reset = run.marks().counter_reset;
    for index in run.falls() {
        if !(reset && rows[index].at.get() <= row_order::near_zero(run)) {
            report_fall(run, index, out);
        }
    }
}

fn report_disordered(run: &RunView<'_>, out: &mut Sink<'_>) {
    let rows = &run.run.observations;
    if let (true, Some(first), Some(last)) = (row_order::reversed(run), rows.first(), rows.last()) {
        let (first, last) = (first.at, last.at);
        let [from, to] = [first, last].map(|at| run.survey.format_length(at));
        let message = format!("all rows run backwards, from {from} to {to}");
        let edits = out.lists().then(|| reordering::reversed(run)).flatten();
        let finding = out.report(run.subject("/observations"), message);
        finding.fact("first", first.get()).fact("last", last.get()).help(
            "reverse the order of the rows; if the distances were measured from the far structure, make that `from`",
        );
        match edits {
            // A start row at the least distance shows from where the distances were measured.
            Some((edits, _)) if row_order::starts_at(run, last) => {
                finding.fix_safely("reverses the order of the rows", edits)
            }
            Some((edits, true)) => finding.fix_if_confirmed(
                "the distances are measured from where the run began; only the rows were entered from the far end",
                edits,
            ),
            _ => finding,
        };
        return;
    }
    let (misplaced, of) = (row_order::out_of_order(run).unwrap_or_default(), rows.len());
    let by_id = ", but sorted by id as text (10 before 2)";
    let why = if row_order::sorted_as_text(run) { by_id } else { "" };
    let message =
        format!("the rows are not in order of distance{why}: {misplaced} of {of} are out of place");
    let edits = out.lists().then(|| reordering::by_distance(run)).flatten();
    let finding = out.report(run.subject("/observations"), message).fact("rows", of);
    finding.fact("misplaced", misplaced);
    finding.help("if only the order is wrong, sort the rows; otherwise correct the distances");
    if let Some(edits) = edits {
        finding.fix_safely("sorts the rows by distance", edits);
    }
}

fn report_fall(run: &RunView<'_>, index: usize, out: &mut Sink<'_>) {
    let [before, at] = [index - 1, index].map(|row| run.run.observations[row].at);
    if at.get() < run.reads()
        || [index, index - 1].iter().any(|row| row_order::decimal_slip(run, *row).is_some())
    {
        return;
    }
    let out_of_step = row_order::out_of_step(run, index);
    if out_of_step < index && row_order::past_end(run, before.get()) {
        return;
    }
    let Some(row) = run.rows().nth(out_of_step) else { return };
    let (from, to) = (run.survey.format_length(before), run.survey.format_length(at));
    let message = format!("the distance decreases from {from} to {to}");
    let finding = out.report(row.subject("/at"), message);
    finding.fact("at", at.get()).fact("before", before.get());
    if matches!(row.role(), Some(Role::Finish | Role::Stopped)) {
        finding.help("if the rows above are right, the end of the run is mistyped: compare it with the length of the pipe");
    } else if let Some(edits) = reordering::into_place(run, out_of_step) {
        let distance = run.survey.format_length(row.row.at);
        let assumed = format!(
            "the row was entered late: its distance of {distance} is right, only its order is wrong"
        );
        finding.fix_if_confirmed(assumed, edits);
    }
}
