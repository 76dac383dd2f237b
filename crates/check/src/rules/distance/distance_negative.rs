//! See the rule's documentation below.

use obvert_model::lists::StretchUse;

use crate::sink::Sink;
use crate::support::row_order;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A distance is less than the counter's reading at the zero point (`counter.reads`, 0 when
    /// absent).
    ///
    /// # Exceptions
    /// - The first row is below that reading too: only the first row is reported, since the
    ///   counter's set-up is wrong.
    /// - `at` has a misplaced decimal point (`decimal-slip`).
    /// - Of `to`: the code applies at a single point only (`stretch-not-allowed`).
    ///
    /// # Exactly
    /// `at`, or otherwise `to`, is less than *reads*.
    ///
    /// # Why it matters
    /// The location would be behind the zero point, outside the pipe.
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
    /// The counter read −3 at the zero point.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/counter/reads", "value": -3},
    ///  {"op": "replace", "path": "/runs/0/observations/0/at", "value": -3},
    ///  {"op": "replace", "path": "/runs/0/observations/1/at", "value": -2}]
    /// ```
    ///
    /// # Fix
    /// Correct the distance, or state the reading in `counter.reads`.
    name: "distance-negative", severity: Error, scope: Observation, since: "0.1", clause: "observations#distance",
    uses: [row_order],
    facts: {
        "distance" = Length "`at` of the row, or its `to` where `at` is right",
        "reads" = Length "*reads*: the counter's reading at the zero point",
    },
}

/// Whether the code applies at a single point only.
fn is_point(row: &RowView<'_>) -> bool {
    row.code.is_some_and(|code| code.continuous == StretchUse::Never)
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let reads = row.run.reads();
    let at = row.row.at.get();
    let (low, field) = match row.row.to {
        _ if at < reads => (row.row.at, "/at"),
        // Another rule reports the end of a row that can have none.
        Some(to) if to.get() < reads && !is_point(row) => (to, "/to"),
        _ => return,
    };
    let first_is_low = row.run.run.observations.first().is_some_and(|first| first.at.get() < reads);
    if first_is_low && row.index > 0
        || field == "/at" && row_order::decimal_slip(row.run, row.index).is_some()
    {
        return;
    }
    let survey = row.survey();
    let message = if reads == 0.0 {
        format!("{} is before the zero point of the run", survey.format_length(low))
    } else {
        let unit = survey.head.units.length;
        format!(
            "{} is less than {reads} {unit}, the counter's reading at the zero point",
            survey.format_length(low)
        )
    };
    out.report(row.subject(field), message).fact("distance", low.get()).fact("reads", reads);
}
