//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// No two rows at one distance of a run say the same: code, characterisation, amounts, clock reference, joint and
    /// flow alike, and neither remarks nor media that differ. Stretches are left to `stretch-overlap`.
    ///
    /// # Why it matters
    /// A row that was entered twice is a defect that counts twice, in the grades and in the costs.
    ///
    /// # Fails
    /// At `/runs/0/observations/4`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 31.9, "code": "connection.preformed",
    ///   "quantities": [{"value": 4, "unit": "in"}], "clock": {"at": 2}}}]
    /// ```
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
    name: "observation-twice", severity: Warning, scope: Run, since: "0.1", clause: "observations#order",
    facts: { "other" = Id "the row that says it first" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let rows = &run.run.observations;
    for (again, first) in run.twins() {
        let (row, id) = (&rows[*again], rows[*first].id.as_str());
        let message = format!("{:?} at {} stands in row {id:?} already", row.code.as_str(), run.survey.say(row.at));
        out.report(run.row(*again).spot(""), message).fact("other", id);
    }
}
