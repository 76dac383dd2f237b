//! See the rule's documentation below.

use obvert_model::lists::Role;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The last row of a run says that it finishes or is given up, by the code list's roles `finish` and `stopped`; rows
    /// at one distance have no order. The rule stands back where the last row's code is unknown, where the run is
    /// disordered (`distance-decreases`), for a run without any row (`start-missing`), and for a list that has no such code.
    ///
    /// # Why it matters
    /// A run that just ends may have lost its last rows, and nobody can tell how much of the pipe was seen.
    ///
    /// # Fails
    /// At `/runs/0/observations/5`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/6"}]
    /// ```
    ///
    /// # Passes
    /// The collapse that stopped the run, written below the row that says so.
    /// ```json
    /// [{"op": "move", "from": "/runs/1/observations/1", "path": "/runs/1/observations/2"}]
    /// ```
    ///
    /// # Fix
    /// Add the row that says how the run ended, or bring back the rows that are lost.
    name: "finish-missing", severity: Warning, scope: Run, since: "0.1", clause: "runs#ends",
    needs: [Codes],
    facts: { "code" = Code "the code of the last row" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.closing_row().is_some() {
        return;
    }
    let Some(last) = run.rows().next_back() else { return };
    let Some(code) = last.code else { return };
    let closes = |role| matches!(role, Some(Role::Finish | Role::Stopped));
    let listed = run.survey.list.is_some_and(|list| list.codes.iter().any(|code| closes(code.role)));
    if listed && !run.disordered() {
        let message = format!("the run ends with {:?} ({}), not with its finish", code.code.as_str(), code.name());
        let elsewhere = run.rows().find(|row| closes(row.role()));
        let finding = out.report(last.subject(""), message);
        finding.fact("code", code.code.as_str());
        // Another one would be one too many.
        if let Some(row) = elsewhere {
            let id = row.row.id.as_str();
            finding.help(format!(
                "its finish is observation {id:?}: bring the rows into order, or correct which one it is"
            ));
        }
    }
}
