//! See the rule's documentation below.

use obvert_model::lists::StretchUse;

use crate::sink::Sink;
use crate::support::row_order;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation lies, or a stretch ends, past the end of the run (`surveyed`) by more than
    /// the tolerance.
    ///
    /// # Exceptions
    /// - The row above has its `at` past the end as well.
    /// - `at` has a misplaced decimal point (`decimal-slip`).
    /// - Of `to`: the code applies at a single point only (`stretch-not-allowed`).
    ///
    /// # Exactly
    /// The end is `surveyed`, or the closing row's distance if that is greater
    /// (`surveyed-contradicts-finish`). `at` is compared before `to`.
    ///
    /// # Why it matters
    /// The camera was never there: the distance or the end of the run is wrong.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762.
    ///
    /// # Fails
    /// At `/runs/0/observations/5/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/at", "value": 220}]
    /// ```
    /// At `/runs/0/observations/2/to`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/to", "value": 442}]
    /// ```
    ///
    /// # Passes
    /// 1 ft past the end is the tolerance.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/to", "value": 201}]
    /// ```
    /// The closing row is past the end.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/surveyed", "value": 150}]
    /// ```
    /// The end of a row that can have none.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/6/to", "value": 205}]
    /// ```
    ///
    /// # Fix
    /// Correct the distance, or `surveyed` if the camera went farther.
    name: "observation-past-run-end", severity: Error, scope: Observation, since: "0.1", clause: "runs#ends",
    uses: [row_order],
    facts: {
        "distance" = Length "`at` of the row, or its `to` where `at` is right",
        "end" = Length "end of the run: the greater of `surveyed` and `at` of the closing row",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(surveyed) = row.run.run.surveyed else { return };
    // Another rule reports the end of a row that can have none.
    let point = row.code.is_some_and(|code| code.continuous == StretchUse::Never);
    let (at, to) = (row.row.at, if point { row.row.at } else { row.row.end() });
    if at <= surveyed && to <= surveyed {
        return;
    }
    let run = row.run;
    let (distance, field) =
        match (row_order::past_end(run, at.get()), row_order::past_end(run, to.get())) {
            (true, _) => (at, "/at"),
            (false, true) => (to, "/to"),
            _ => return,
        };
    let earlier = row
        .index
        .checked_sub(1)
        .is_some_and(|i| row_order::past_end(run, run.run.observations[i].at.get()));
    if earlier || field == "/at" && row_order::decimal_slip(run, row.index).is_some() {
        return;
    }
    let survey = row.survey();
    let end = row_order::run_end(run).unwrap_or(surveyed.get());
    let unit = survey.head.units.length;
    let message =
        format!("{} is past the end of the run at {end} {unit}", survey.format_length(distance));
    let finding = out.report(row.subject(field), message);
    finding.fact("distance", distance.get()).fact("end", end);
    let tenth = distance.get() / 10.0;
    if field == "/to" && tenth >= at.get() {
        finding.help(format!("check the decimal point: {tenth} {unit} would fit"));
    }
}
