//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::row_order;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// No observation lies, and no stretch ends, past the end of the run (`surveyed`) by more than the tolerance. Where
    /// the closing row itself is past it, `surveyed-contradicts-finish` says so, and the end is taken from that row. Of
    /// rows past the end that follow one another only the first is reported, and no stretch that ends past it below such a
    /// row. A row that one place of its decimal point would put right
    /// is left to `decimal-slip`.
    ///
    /// # Why it matters
    /// The camera was never there. Either the distance or the end of the run is wrong.
    ///
    /// # Source
    /// Tolerance: the greater of 0.5 % and 1 ft, City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer
    /// Systems.
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
    /// A closing row past the end.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/surveyed", "value": 150}]
    /// ```
    ///
    /// # Fix
    /// Correct the distance, or `surveyed` if the camera went farther.
    name: "observation-past-run-end", severity: Error, scope: Observation, since: "0.1", clause: "runs#ends",
    uses: [row_order],
    facts: {
        "distance" = Length "`at` of the row, or its `to` where `at` is right",
        "end" = Length "where the run ends: `surveyed`, or `at` of the closing row where that is farther",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(surveyed) = row.run.run.surveyed else { return };
    let (at, to) = (row.row.at, row.row.end());
    if at <= surveyed && to <= surveyed {
        return;
    }
    let run = row.run;
    let (distance, field) = match (row_order::past_end(run, at.get()), row_order::past_end(run, to.get())) {
        (true, _) => (at, "/at"),
        (false, true) => (to, "/to"),
        _ => return,
    };
    let earlier = row.index.checked_sub(1).is_some_and(|i| row_order::past_end(run, run.run.observations[i].at.get()));
    if earlier || field == "/at" && row_order::decimal_slip(run, row.index).is_some() {
        return;
    }
    let survey = row.survey();
    let end = row_order::run_end(run).unwrap_or(surveyed.get());
    let unit = survey.head.units.length;
    let message = format!("{} lies past the end of the run at {end} {unit}", survey.say(distance));
    let finding = out.report(row.subject(field), message);
    finding.fact("distance", distance.get()).fact("end", end);
    let tenth = distance.get() / 10.0;
    if field == "/to" && tenth >= at.get() {
        finding.help(format!("{tenth} {unit} would fit; look whether the decimal point is in its place"));
    }
}
