//! See the rule's documentation below.

use obvert_model::tables::PartyRole;

use crate::sink::Sink;
use crate::support::cameras::same_camera;
use crate::support::time::run_span;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// Two runs of one operator overlap in time.
    ///
    /// # Exceptions
    /// - The operator is a firm or another party without the role `operator`: it has several crews.
    /// - The runs share a camera (`runs-concurrent`).
    /// - A run was finished before it was started (`time-order`).
    ///
    /// # Exactly
    /// The runs with both times are sorted by beginning, end and row, and each is compared with the
    /// next of its operator as in *concurrent* (Checking). The finding is at `started` of the
    /// later.
    ///
    /// # Why it matters
    /// A time, or the operator, was copied from another row. Who is certified, and who is asked
    /// about the run, follows from it.
    ///
    /// # Fails
    /// At `/runs/1/started`:
    /// ```json
    /// [{"op": "replace", "path": "/parties/1/role", "value": "operator"}, {"op": "add", "path": "/equipment/-", "value": {"id": "E-3", "kind": "push-rod"}},
    ///  {"op": "replace", "path": "/runs/1/equipment", "value": ["E-3"]}, {"op": "replace", "path": "/runs/1/started", "value": "2026-05-06T09:40:00-05:00"}]
    /// ```
    ///
    /// # Passes
    /// A firm with two crews.
    /// ```json
    /// [{"op": "add", "path": "/equipment/-", "value": {"id": "E-3", "kind": "push-rod"}},
    ///  {"op": "replace", "path": "/runs/1/equipment", "value": ["E-3"]}, {"op": "replace", "path": "/runs/1/started", "value": "2026-05-06T09:40:00-05:00"}]
    /// ```
    ///
    /// # Fix
    /// Correct the times or the operator.
    name: "operator-concurrent", severity: Warning, scope: Ending, since: "0.1", clause: "runs#time",
    concludes_from: ["parties", "parties.role", "equipment", "equipment.kind", "runs", "runs.started", "runs.finished", "runs.operator", "runs.equipment"],
    facts: {
        "other" = Id "the earlier run",
        "operator" = Id "the operator of both",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let mut runs: Vec<_> = ending
        .runs
        .iter()
        .filter_map(|summary| {
            let operator = summary.run.operator.as_ref()?;
            let person = survey.party(operator)?.role == Some(PartyRole::Operator);
            let (from, to) = run_span(&summary.run)?;
            person.then_some((operator.as_str(), from, to, summary.index))
        })
        .collect();
    runs.sort_unstable();
    for pair in runs.windows(2) {
        let ((operator, _, finished, first), (next, started, _, second)) = (pair[0], pair[1]);
        let (other, run) = (&ending.runs[first].run, &ending.runs[second]);
        if operator != next || started >= finished || same_camera(survey, other, &run.run) {
            continue;
        }
        let id = other.id.as_str();
        let message =
            format!("the run was started by {operator:?}, who was still operating run {id:?}");
        out.report(run.subject("/started"), message).fact("other", id).fact("operator", operator);
    }
}
