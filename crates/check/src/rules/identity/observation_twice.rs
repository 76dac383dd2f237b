//! See the rule's documentation below.

use obvert_model::tables::Observation;

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
}

/// Of the rows at one distance so many are held against each other; a run whose distances are all alike has another fault.
const LOOKED_AT: usize = 16;

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let rows = &run.run.observations;
    for (index, row) in rows.iter().enumerate().skip(1) {
        if rows[index - 1].at != row.at || row.is_stretch() {
            continue;
        }
        let mut level = rows[..index].iter().rev().take(LOOKED_AT).take_while(|other| other.at == row.at);
        if let Some(other) = level.find(|other| alike(other, row)) {
            let (id, code) = (other.id.as_str(), row.code.as_str());
            let message = format!("{code:?} at {} stands in row {id:?} already", run.survey.say(row.at));
            out.report(run.row(index).spot(""), message).fact("other", id);
        }
    }
}

/// Whether nothing that two rows say tells them apart.
fn alike(a: &Observation, b: &Observation) -> bool {
    a.code == b.code
        && !a.is_stretch()
        && a.characterisation == b.characterisation
        && a.quantities == b.quantities
        && a.clock == b.clock
        && a.joint == b.joint
        && a.joins == b.joins
        && a.flow == b.flow
        && (a.remark.is_none() || b.remark.is_none() || a.remark == b.remark)
        && (a.media.is_empty() || b.media.is_empty() || a.media == b.media)
}
