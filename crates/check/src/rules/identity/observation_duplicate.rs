//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// No two rows at one distance of a run say the same: code, characterisation, amounts, clock reference, joint and
    /// flow alike, and neither remarks nor media that differ. Stretches are left to `stretch-overlap`. Nor do two rows or more in
    /// succession say again what others above them say, nor does a single row that is out of place say again what another one says:
    /// that is one finding at the first of them, and rules about the order, the counter and stretches that overlap stand back.
    ///
    /// # Why it matters
    /// A row that was entered twice is a defect that counts twice, in the grades and in the costs. Rows that were pasted or imported
    /// twice look as if the counter had been set to zero on the way, and adding to their distances would make it worse.
    ///
    /// # Fails
    /// At `/runs/0/observations/4`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 31.9, "code": "connection.preformed",
    ///   "quantities": [{"value": 4, "unit": "in"}], "clock": {"at": 2}}}]
    /// ```
    ///
    /// Three rows that were pasted twice, at `/runs/0/observations/6`:
    /// ```json
    /// [{"op": "copy", "from": "/runs/0/observations/3", "path": "/runs/0/observations/6"},
    ///  {"op": "copy", "from": "/runs/0/observations/4", "path": "/runs/0/observations/7"},
    ///  {"op": "copy", "from": "/runs/0/observations/5", "path": "/runs/0/observations/8"},
    ///  {"op": "replace", "path": "/runs/0/observations/6/id", "value": "4a"},
    ///  {"op": "replace", "path": "/runs/0/observations/7/id", "value": "5a"},
    ///  {"op": "replace", "path": "/runs/0/observations/8/id", "value": "6a"}]
    /// ```
    ///
    /// A row that was pasted in farther down, at `/runs/0/observations/6`:
    /// ```json
    /// [{"op": "copy", "from": "/runs/0/observations/3", "path": "/runs/0/observations/6"},
    ///  {"op": "replace", "path": "/runs/0/observations/6/id", "value": "4a"}]
    /// ```
    ///
    /// # Exactly
    /// Rows are *repeated* where a row lies before the row above it and, with one or more of those below it, is alike in all keys but
    /// `id` to as many rows in succession that stand above it and of which the last lies beyond the first. Of the places above where such
    /// a sequence begins, the sixteen first ones are looked at and the one counts where it is longest, and of those the first. A row of
    /// such a sequence begins none of its own. A single row is repeated where it is in no such sequence, is not in order with the rows
    /// above and below it, these are with each other, and another row of the run that is in order with those above and below it is
    /// alike in all keys but `id`; of the rows at that distance the sixteen first ones are looked at. Two rows are in order where the
    /// lower one does not lie before the upper one.
    ///
    /// # Passes
    /// On the other side of the pipe.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 31.9, "code": "connection.preformed",
    ///   "quantities": [{"value": 4, "unit": "in"}], "clock": {"at": 10}}}]
    /// ```
    /// Two general photos of one place.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 60, "code": "note.photo", "media": [{"id": "M-1"}]}},
    ///  {"op": "add", "path": "/runs/0/observations/5", "value": {"id": "4b", "at": 60, "code": "note.photo", "media": [{"id": "M-3"}]}}]
    /// ```
    ///
    /// # Fix
    /// Take one of the two out; if there really are two, say in a remark what tells them apart.
    name: "observation-duplicate", severity: Warning, scope: Run, since: "0.1", clause: "observations#order",
    facts: {
        "other" = Id "the row that says it first",
        "rows" = Count "rows in succession that are repeated" if "several are",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let rows = &run.run.observations;
    for repeat in run.repeated_rows() {
        let (first, last) = (&rows[repeat.of], &rows[repeat.of + repeat.rows - 1]);
        let (from, to) = (run.survey.say(first.at), run.survey.say(last.at));
        if repeat.rows == 1 {
            let message = format!("the row says again what observation {:?} says, at {from}", first.id.as_str());
            out.report(run.row(repeat.from).subject(""), message).fact("other", first.id.as_str()).help(
                "take the row out if it was pasted or imported twice; its distance is right where it stands first",
            );
            continue;
        }
        let message = format!(
            "{} rows from here on say again what observations {:?} to {:?} say, from {from} to {to}",
            repeat.rows,
            first.id.as_str(),
            last.id.as_str()
        );
        out.report(run.row(repeat.from).subject(""), message)
            .fact("other", first.id.as_str())
            .fact("rows", repeat.rows)
            .help("take the rows out if they were pasted or imported twice; their distances are right, and nothing is to be added to them");
    }
    for (again, first) in run.duplicates() {
        let (row, id) = (&rows[*again], rows[*first].id.as_str());
        let message =
            format!("{:?} at {} stands in observation {id:?} already", row.code.as_str(), run.survey.say(row.at));
        out.report(run.row(*again).subject(""), message).fact("other", id);
    }
}
