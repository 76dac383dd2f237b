//! See the rule's documentation below.

use obvert_model::lists::Role;
use obvert_model::number::Length;

use crate::sink::Sink;
use crate::support::{reordering, row_order};
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The observations of a run stand in order of distance: none lies before the one above it. Of two rows that break
    /// the order, the finding is about the one that its neighbours leave out of step. A run whose rows are all in the
    /// opposite order, or sorted by something else than distance, is one finding, and rules that go by the order stand
    /// back. Left to other rules are rows that stand in the run twice (`observation-duplicate`), a row that one place of its decimal point would put right (`decimal-slip`), one
    /// before the zero point (`distance-negative`), one past the end (`observation-past-run-end`) and a counter that was set to zero
    /// on the way (`counter-reset`).
    ///
    /// # Exactly
    /// A *fall* is a row with a lower distance than the row above it, unless rows that are repeated begin with it. Each fall of a run that is not disordered gives one
    /// finding, in the order of the rows. The *upper* of its two rows is out of step where taking that one out puts the
    /// neighbourhood in order: the row above it, if any, does not lie beyond the lower row, and a row follows the lower one
    /// that lies before the upper. Otherwise, also where both would do, it is the *lower*. Nothing is found where the
    /// lower one is below *reads*, where either row has slipped a digit, where the upper is out of step and beyond the
    /// run, and where the counter seems to have been set to zero again and the lower row lies no more than 0.3048 m above
    /// *reads*.
    ///
    /// # Why it matters
    /// A row that falls back was typed wrongly, or the camera was drawn back and the row entered late, or the counter was
    /// set to zero again on the way. Whoever reads the run as a line along the pipe meets a defect in the wrong place, or
    /// twice.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 0.9}]
    /// ```
    /// The row before is the one out of step, at `/runs/0/observations/3/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 121}]
    /// ```
    /// Entered from the far end, at `/runs/2/observations`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/observations/0/at", "value": 90},
    ///  {"op": "replace", "path": "/runs/2/observations/1/at", "value": 0},
    ///  {"op": "add", "path": "/runs/2/observations/1", "value": {"id": "1a", "at": 40, "code": "note.photo"}}]
    /// ```
    ///
    /// Sorted by code, at `/runs/0/observations`:
    /// ```json
    /// [{"op": "move", "from": "/runs/0/observations/1", "path": "/runs/0/observations/6"},
    ///  {"op": "move", "from": "/runs/0/observations/5", "path": "/runs/0/observations/0"},
    ///  {"op": "move", "from": "/runs/0/observations/1", "path": "/runs/0/observations/5"},
    ///  {"op": "move", "from": "/runs/0/observations/1", "path": "/runs/0/observations/2"}]
    /// ```
    ///
    /// Sorted by its ids as text, at `/runs/0/observations`:
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
    /// Sort the rows by distance if they were entered late; correct the distance if it was typed wrongly.
    name: "distance-decreases", severity: Error, scope: Run, since: "0.1", clause: "observations#order",
    facts: {
        "first" = Length "`at` of the first row" if "all rows run backwards",
        "last" = Length "`at` of the last row" if "all rows run backwards",
        "rows" = Count "rows of the run" if "the rows are shuffled",
        "astray" = Count "rows that would have to be moved" if "the rows are shuffled",
        "at" = Length "`at` of the row below the fall" if "a single distance falls back",
        "before" = Length "`at` of the row above it" if "a single distance falls back",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let rows = &run.run.observations;
    if run.disordered() {
        disordered(run, out);
        return;
    }
    let again = run.marks().counter_reset;
    for index in run.falls() {
        if !(again && rows[index].at.get() <= run.reads() + foot(run)) {
            falls(run, index, out);
        }
    }
}

fn foot(run: &RunView<'_>) -> f64 {
    0.3048 / run.survey.head.units.length.metres()
}

fn disordered(run: &RunView<'_>, out: &mut Sink<'_>) {
    let rows = &run.run.observations;
    if let (true, Some(first), Some(last)) = (row_order::reversed(run), rows.first(), rows.last()) {
        let (first, last) = (first.at, last.at);
        let message = format!("all rows run backwards, from {} to {}", run.survey.say(first), run.survey.say(last));
        let edits = out.lists().then(|| reordering::reversed(run)).flatten();
        let finding = out.report(run.subject("/observations"), message);
        finding.fact("first", first.get()).fact("last", last.get()).help(
            "turn the order of the rows round; if the distances were measured from the far structure, make it `from`",
        );
        match edits {
            // A start row at the least distance says from where the distances count.
            Some(edits) if starts_at(run, last) => finding.fix_safely("turns the order of the rows round", edits),
            Some(edits) => finding.fix_if_confirmed(
                "the distances count from where the run began, and only its rows were entered from the far end",
                edits,
            ),
            None => finding,
        };
        return;
    }
    let (astray, of) = (row_order::out_of_order(run).unwrap_or_default(), rows.len());
    let why = if row_order::sorted_as_text(run) { ", sorted by ids as texts sort, 10 before 2" } else { "" };
    let message = format!("the rows are not in order of distance{why}: {astray} of {of} stand elsewhere");
    let edits = out.lists().then(|| reordering::by_distance(run)).flatten();
    let finding = out.report(run.subject("/observations"), message);
    finding.fact("rows", of).fact("astray", astray);
    finding.help("sort the rows by distance; then what is still wrong can be told");
    if let Some(edits) = edits {
        finding.fix_safely("sorts the rows by distance", edits);
    }
}

/// Whether a start row stands at a distance.
fn starts_at(run: &RunView<'_>, at: Length) -> bool {
    run.rows().any(|row| row.row.at == at && row.role() == Some(Role::Start))
}

fn falls(run: &RunView<'_>, index: usize, out: &mut Sink<'_>) {
    let rows = &run.run.observations;
    let (at, before) = (rows[index].at, rows[index - 1].at);
    if at.get() < run.reads() || [index, index - 1].iter().any(|row| row_order::decimal_slip(run, *row).is_some()) {
        return;
    }
    // The row before is out of step where leaving it out leaves the others in order.
    let steady = index < 2 || rows[index - 2].at <= at;
    let next = rows.get(index + 1).map(|next| next.at);
    let early = steady && next.is_some_and(|next| next < before);
    if early && row_order::past_end(run, before.get()) {
        return;
    }
    let astray = if early { index - 1 } else { index };
    let Some(row) = run.rows().nth(astray) else { return };
    let (said, was) = (run.survey.say(at), run.survey.say(before));
    let finding = out.report(row.subject("/at"), format!("the distance falls back from {was} to {said}"));
    finding.fact("at", at.get()).fact("before", before.get());
    let distance = run.survey.say(row.row.at);
    let does = format!("the row was entered late: its distance of {distance} is right, and only its place is wrong");
    finding.fix_if_confirmed(does, reordering::into_place(run, astray));
}
