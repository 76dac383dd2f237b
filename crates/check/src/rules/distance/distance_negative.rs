//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::row_order;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// No distance lies below what the counter showed at its zero point (`counter.reads`, 0 when absent). Where already
    /// the first row does, it alone is reported, since then the counter's set-up and not each row is wrong. A row that one
    /// place of its decimal point would put right is left to `decimal-slip`.
    ///
    /// # Why it matters
    /// The place would lie behind the point that everything is measured from: outside the pipe, on no map.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": -31.9}]
    /// ```
    /// At `/runs/0/observations/2/to`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/to", "value": -44.2}]
    /// ```
    /// At `/runs/0/observations/0/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/counter/reads", "value": 5}]
    /// ```
    ///
    /// # Passes
    /// The counter was set to count from before the zero point, so that it showed less than nothing there.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/counter/reads", "value": -3},
    ///  {"op": "replace", "path": "/runs/0/observations/0/at", "value": -3},
    ///  {"op": "replace", "path": "/runs/0/observations/1/at", "value": -2}]
    /// ```
    ///
    /// # Fix
    /// Correct the distance, or state in `counter.reads` what the counter showed at its zero point.
    name: "distance-negative", severity: Error, scope: Observation, since: "0.1", clause: "observations#distance",
    uses: [row_order],
    facts: {
        "distance" = Length "`at` of the row, or its `to` where `at` is right",
        "reads" = Length "*reads*: what the counter showed at its zero point",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let reads = row.run.reads();
    let at = row.row.at.get();
    let (low, field) = match row.row.to {
        _ if at < reads => (row.row.at, "/at"),
        Some(to) if to.get() < reads => (to, "/to"),
        _ => return,
    };
    let before_all = row.run.run.observations.first().is_some_and(|first| first.at.get() < reads);
    if before_all && row.index > 0 || field == "/at" && row_order::decimal_slip(row.run, row.index).is_some() {
        return;
    }
    let survey = row.survey();
    let message = if reads == 0.0 {
        format!("{} lies before the point that the run is measured from", survey.say(low))
    } else {
        let unit = survey.head.units.length;
        format!("{} lies below {reads} {unit}, which the counter showed at its zero point", survey.say(low))
    };
    out.report(row.subject(field), message).fact("distance", low.get()).fact("reads", reads);
}
