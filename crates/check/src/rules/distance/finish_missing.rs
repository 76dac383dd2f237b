//! See the rule's documentation below.

use obvert_model::lists::Role;
use obvert_model::tables::OutcomeKind;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The last row of a run has neither the role `finish` nor the role `stopped`.
    ///
    /// # Exceptions
    /// - Another row at the same distance has such a role: rows at one distance have no order.
    /// - The code of the last row is unknown.
    /// - The code list has no code with such a role.
    /// - The outcome is `met` or `as-ordered`, and the last row has the role `remark`: the list has no
    ///   code for such an end.
    /// - The run is disordered (`distance-decreases`) or has no rows (`start-missing`).
    ///
    /// # Exactly
    /// The run has no *closing row*.
    ///
    /// # Why it matters
    /// The last rows may be lost, and it is not known how much of the pipe was seen.
    ///
    /// # Fails
    /// At `/runs/0/observations/5`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/6"}]
    /// ```
    ///
    /// # Passes
    /// The collapse that stopped the run is the last row.
    /// ```json
    /// [{"op": "move", "from": "/runs/1/observations/1", "path": "/runs/1/observations/2"}]
    /// ```
    /// Its meeting the other run is a remark.
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/observations/1", "value": {"id": "2", "at": 90, "code": "note.remark", "remark": "met the other run"}}]
    /// ```
    ///
    /// # Fix
    /// Add the row that states how the run ended, or restore the lost rows.
    name: "finish-missing", severity: Warning, scope: Run, since: "0.1", clause: "runs#ends",
    needs: [Codes],
    facts: { "code" = Code "the code of the last row" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.closing_row().is_some() {
        return;
    }
    let Some(last) = run.rows().next_back() else { return };
    let outcome = run.run.outcome.as_ref().map(|outcome| outcome.kind);
    let told_in_words = matches!(outcome, Some(OutcomeKind::Met | OutcomeKind::AsOrdered));
    if told_in_words && last.role() == Some(Role::Remark) {
        return;
    }
    let Some(code) = last.code else { return };
    let closes = |role| matches!(role, Some(Role::Finish | Role::Stopped));
    let listed =
        run.survey.list.is_some_and(|list| list.codes.iter().any(|code| closes(code.role)));
    if listed && !run.disordered() {
        let message =
            format!("the run ends with {}, not with a row that closes it", code.code.as_str());
        let elsewhere = run.rows().find(|row| closes(row.role()));
        let finding = out.report(last.subject(""), message);
        finding.fact("code", code.code.as_str());
        // Adding a closing row would make a second one.
        if let Some(row) = elsewhere {
            let id = row.row.id.as_str();
            finding.help(format!(
                "correct the order of the rows, or the code of observation {id:?}, which closes the run"
            ));
        }
    }
}
