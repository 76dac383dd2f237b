//! See the rule's documentation below.

use obvert_model::lists::Role;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The first row of a run does not have the role `start`, or the run has no rows.
    ///
    /// # Exceptions
    /// - Another row at the same distance has the role: rows at one distance have no order.
    /// - The code of the first row is unknown.
    /// - The code list has no code with the role.
    /// - The run is disordered (`distance-decreases`).
    ///
    /// # Exactly
    /// The run has no *start row*; without rows no exception holds.
    ///
    /// # Why it matters
    /// The first rows of the run may be lost.
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
    /// The water level is above the start row.
    /// ```json
    /// [{"op": "move", "from": "/runs/0/observations/0", "path": "/runs/0/observations/1"}]
    /// ```
    ///
    /// # Fix
    /// Add the start row with the counter's reading at the start, or restore the lost rows.
    name: "start-missing", severity: Warning, scope: Run, since: "0.1", clause: "runs#ends",
    needs: [Codes],
    facts: { "code" = Code "the code of the first row" if "the run has rows" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.start_row().is_some() {
        return;
    }
    let Some(first) = run.rows().next() else {
        out.report(run.subject(""), "the run has no observations");
        return;
    };
    let Some(code) = first.code else { return };
    let listed = run
        .survey
        .list
        .is_some_and(|list| list.codes.iter().any(|code| code.role == Some(Role::Start)));
    if listed && !run.disordered() {
        let message = format!(
            "the run begins with {:?} ({}), not with a start row",
            code.code.as_str(),
            code.name()
        );
        let elsewhere = run.rows().find(|row| row.role() == Some(Role::Start));
        let finding = out.report(first.subject(""), message);
        finding.fact("code", code.code.as_str());
        // Adding a start row would make a second one.
        if let Some(row) = elsewhere {
            let id = row.row.id.as_str();
            finding.help(format!(
                "correct the order of the rows, or the code of observation {id:?}, which starts the run"
            ));
        }
    }
}
