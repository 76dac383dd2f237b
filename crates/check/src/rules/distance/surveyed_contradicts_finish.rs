//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::row_order;
use crate::support::run_extent::surveyed_contradicts_finish;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The closing row is not at the distance that the run states as `surveyed`, within the
    /// tolerance.
    ///
    /// # Exceptions
    /// - The closing row is not settled or has a misplaced decimal point; other rules report it.
    ///
    /// # Exactly
    /// *Contradicts*, *settled* and *slipped* as in Checking.
    ///
    /// # Why it matters
    /// Payment is by the surveyed length, and the record gives two.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762.
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
    /// The last row lacks its decimal point.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/6/at", "value": 2000}]
    /// ```
    ///
    /// # Fix
    /// Correct the wrong one; the video shows the last reading.
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
    let (stated, closing) =
        (run.survey.format_length(surveyed), run.survey.format_length(row.row.at));
    out.report(
        run.subject("/surveyed"),
        format!("`surveyed` is {stated}, but the closing row is at {closing}"),
    )
    .fact("surveyed", surveyed.get())
    .fact("finish", row.row.at.get());
}
