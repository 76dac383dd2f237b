//! See the rule's documentation below.

use obvert_model::lists::Role;
use obvert_model::tables::{OutcomeKind, StopReason};

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The outcome of a run agrees with the row that closes it: `stopped` with a row of the role `stopped`, `reached` with
    /// one of the role `finish`, `met` with either: not every code list has a code for it, and a run that met the other
    /// one did not come to the far structure. Where the closing row gives a reason in the format's own words, it is the
    /// outcome's.
    ///
    /// # Why it matters
    /// One says that the pipe was seen to its end and the other that it was not; a second run is ordered, or not, by
    /// whichever is read.
    ///
    /// # Fails
    /// At `/runs/1/outcome/kind`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "reached"}}]
    /// ```
    /// At `/runs/0/outcome/kind`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/outcome", "value": {"kind": "stopped", "reason": "roots"}}]
    /// ```
    /// At `/runs/1/outcome/reason`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/outcome/reason", "value": "roots"}]
    /// ```
    ///
    /// # Passes
    /// No outcome contradicts nothing.
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/outcome"}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "met"}}]
    /// ```
    ///
    /// # Fix
    /// See in the video how the run ended, and correct the outcome or the closing row.
    name: "outcome-contradicts-rows", severity: Error, scope: Run, since: "0.1", clause: "runs#outcome",
    needs: [Codes],
    facts: {
        "outcome" = Word "`kind` of the outcome" if "it contradicts the closing row",
        "code" = Code "the code of the closing row" if "`outcome` is there",
        "reason" = Word "`reason` of the outcome" if "it contradicts the closing row",
        "row" = Word "the reason that the closing row gives" if "`reason` is there",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let (Some(outcome), Some(row)) = (&run.run.outcome, run.closing_row()) else { return };
    if run.disordered() {
        return;
    }
    let stopped = row.role() == Some(Role::Stopped);
    let kind = outcome.kind;
    if stopped != (kind == OutcomeKind::Stopped) && !(stopped && kind == OutcomeKind::Met) {
        let says = if stopped { "is given up" } else { "finishes" };
        let message = format!("the outcome is {:?}, but the closing row says that the run {says}", kind.as_str());
        out.report(run.subject("/outcome/kind"), message)
            .fact("outcome", kind.as_str())
            .fact("code", row.row.code.as_str());
        return;
    }
    let given = row.row.characterisation.iter().find_map(|word| StopReason::from_word(word));
    if let (true, Some(given), Some(reason)) = (stopped, given, outcome.reason)
        && given != reason
    {
        let (given, reason) = (given.as_str(), reason.as_str());
        let message = format!("the run was given up for {reason:?}, but its closing row says {given:?}");
        out.report(run.subject("/outcome/reason"), message).fact("reason", reason).fact("row", given);
    }
}
