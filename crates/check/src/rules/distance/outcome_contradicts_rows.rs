//! See the rule's documentation below.

use obvert_model::lists::Role;
use obvert_model::tables::{OutcomeKind, StopReason};

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The outcome of a run contradicts its closing row.
    ///
    /// # Exactly
    /// In this order:
    ///
    /// - `stopped` goes with a closing row of the role `stopped`, `reached` with the role `finish`,
    ///   `met` and `as-ordered` with either.
    /// - In a closing row of the role `stopped`, the first characterisation that is a word of
    ///   `outcome.reason`, if any, equals a stated `outcome.reason`.
    ///
    /// # Why it matters
    /// Whether the pipe counts as seen or is surveyed again depends on which of the two is read.
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
    /// No outcome.
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/outcome"}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "met"}}]
    /// ```
    ///
    /// # Fix
    /// Check in the video how the run ended, and correct the outcome or the closing row.
    name: "outcome-contradicts-rows", severity: Error, scope: Run, since: "0.1", clause: "runs#outcome",
    needs: [Codes],
    facts: {
        "outcome" = Word "`kind` of the outcome" if "it contradicts the closing row",
        "code" = Code "the code of the closing row" if "`outcome` is present",
        "reason" = Word "`reason` of the outcome" if "it contradicts the closing row",
        "row_reason" = Word "the reason that the closing row gives" if "`reason` is present",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let (Some(outcome), Some(row)) = (&run.run.outcome, run.closing_row()) else { return };
    let stopped = row.role() == Some(Role::Stopped);
    let kind = outcome.kind;
    let either = matches!(kind, OutcomeKind::Met | OutcomeKind::AsOrdered);
    if stopped != (kind == OutcomeKind::Stopped) && !(stopped && either) {
        let (code, end) = (&row.row.code, if stopped { "was stopped" } else { "reached its end" });
        let message = format!(
            "the outcome is {:?}, but by the last row ({code}) the run {end}",
            kind.as_str()
        );
        out.report(run.subject("/outcome/kind"), message)
            .fact("outcome", kind.as_str())
            .fact("code", row.row.code.as_str());
        return;
    }
    let given = row.row.characterisation.iter().find_map(|word| word.parse::<StopReason>().ok());
    if let (true, Some(given), Some(reason)) = (stopped, given, outcome.reason)
        && given != reason
    {
        let (given, reason) = (given.as_str(), reason.as_str());
        let message =
            format!("the outcome gives the reason {reason:?}, but the closing row gives {given:?}");
        out.report(run.subject("/outcome/reason"), message)
            .fact("reason", reason)
            .fact("row_reason", given);
    }
}
