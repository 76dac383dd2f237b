//! See the rule's documentation below.

use obvert_model::lists::Role;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The first row of a run is a start row, by the code list's role `start`; rows at one distance have no order. A run
    /// without any row is found here and not by `finish-missing`. The rule stands back where the first row's code is
    /// unknown, where the run is disordered (`distance-decreases`), and for a list that has no such code.
    ///
    /// # Why it matters
    /// Without a start row nobody can tell whether the record begins where the camera went in or whether its first rows
    /// are lost.
    ///
    /// # Fails
    /// At `/runs/0/observations/0`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/0"}]
    /// ```
    /// At `/runs/2`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/observations"}]
    /// ```
    ///
    /// # Passes
    /// The water level at the start, written above the start row.
    /// ```json
    /// [{"op": "move", "from": "/runs/0/observations/0", "path": "/runs/0/observations/1"}]
    /// ```
    ///
    /// # Fix
    /// Add the start row at the distance that the counter showed when the run began, or bring back the rows that are
    /// lost.
    name: "start-missing", severity: Warning, scope: Run, since: "0.1", clause: "runs#ends",
    needs: [Codes],
    facts: { "code" = Code "the code of the first row" if "the run has rows" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.start_row().is_some() {
        return;
    }
    let Some(first) = run.rows().next() else {
        out.report(run.subject(""), "the run has no observations, not even where it starts");
        return;
    };
    let Some(code) = first.code else { return };
    let listed = run.survey.list.is_some_and(|list| list.codes.iter().any(|code| code.role == Some(Role::Start)));
    if listed && !run.disordered() {
        let message = format!("the run begins with {:?} ({}), not with its start", code.code.as_str(), code.name());
        let elsewhere = run.rows().find(|row| row.role() == Some(Role::Start));
        let finding = out.report(first.subject(""), message);
        finding.fact("code", code.code.as_str());
        // Another one would be one too many.
        if let Some(row) = elsewhere {
            let id = row.row.id.as_str();
            finding.help(format!(
                "its start is observation {id:?}: bring the rows into order, or correct which one it is"
            ));
        }
    }
}
