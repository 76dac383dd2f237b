//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::row_order;
use crate::support::run_extent::surveyed_contradicts_finish;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The row that closes a run stands at the distance that the run states as `surveyed`, within the tolerance. A
    /// closing row that is not settled, or has slipped a digit, is left to the rules about order.
    ///
    /// # Why it matters
    /// The record says two things about how much of the pipe was seen, and one of them is what is paid for.
    ///
    /// # Source
    /// Tolerance: the greater of 0.5 % and 1 ft, City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer
    /// Systems.
    ///
    /// # Fails
    /// At `/runs/0/surveyed`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/surveyed", "value": 210}]
    /// ```
    ///
    /// # Passes
    /// 1 ft is the tolerance.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/surveyed", "value": 201}]
    /// ```
    /// The point is missing in the last row's distance, not in `surveyed`.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/6/at", "value": 2000}]
    /// ```
    ///
    /// # Fix
    /// Correct the one that is wrong; the video shows the last reading.
    name: "surveyed-contradicts-finish", severity: Error, scope: Run, since: "0.1", clause: "runs#ends",
    needs: [Codes],
    facts: {
        "surveyed" = Length "`surveyed` of the run",
        "finish" = Length "`at` of the closing row",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let (Some(surveyed), Some(row)) = (run.run.surveyed, run.closing_row()) else { return };
    if run.disordered()
        || !surveyed_contradicts_finish(run.survey, run.run, run.marks())
        || !row_order::in_order(run, row.index)
        || row_order::decimal_slip(run, row.index).is_some()
    {
        return;
    }
    let (said, stands) = (run.survey.say(surveyed), run.survey.say(row.row.at));
    out.report(run.subject("/surveyed"), format!("{said} were surveyed, but the closing row stands at {stands}"))
        .fact("surveyed", surveyed.get())
        .fact("finish", row.row.at.get());
}
