//! See the rule's documentation below.

use obvert_model::lists::{Family, PercentOf};
use obvert_model::tables::QuantityUnit;

use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// An amount in percent that the pipe cannot have: the losses of cross-section at one place add
    /// up to more than 100 percent, or an amount closes the pipe, and the camera passed it.
    ///
    /// # Exceptions
    /// - A single amount of more than 100 percent (`quantity-range`).
    /// - The code is `blockage` or `collapse`, or of a connection or repair: the amount is of
    ///   another cross-section, or other rules compare it.
    /// - The run is *disordered*, or lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// An amount is the first one of a row whose code list gives it in percent of the area, height,
    /// width or diameter, of the families `structural` and `operational`. By the code, or the code of
    /// `obvert-terms` that it links to, the groups `connection`, `repair`, `blockage`, `collapse`
    /// and the code `roots.in-connection` have none.
    ///
    /// - The amounts of the area of the `operational` family with the same `at` are added; the row
    ///   at which the sum exceeds 100 has the finding.
    /// - An amount of `closed` or more has one if the run goes on for more than `beyond` after the
    ///   end of the row, by its last row.
    ///
    /// # Why it matters
    /// A digit too many makes a pipe that works an emergency.
    ///
    /// # Source
    /// The camera needs room itself: common practice, no published source.
    ///
    /// # Fails
    /// The camera passed roots that fill the pipe. At `/runs/0/observations/5/quantities/0/value`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/quantities/0/value", "value": 100}]
    /// ```
    /// At `/runs/0/observations/6/quantities/0/value`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/quantities/0/value", "value": 60},
    ///  {"op": "add", "path": "/runs/0/observations/6", "value":
    ///   {"id": "6a", "at": 120, "code": "deposit.grease", "quantities": [{"value": 50, "unit": "percent"}]}}]
    /// ```
    ///
    /// # Passes
    /// The camera pushed through roots that fill most of the pipe.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/quantities/0/value", "value": 90}]
    /// ```
    /// The run ends there.
    /// ```json
    /// [{"op": "add", "path": "/runs/1/observations/1", "value":
    ///   {"id": "1a", "at": 90, "code": "roots.mass", "quantities": [{"value": 100, "unit": "percent"}], "joint": true}}]
    /// ```
    ///
    /// # Fix
    /// Correct the amounts.
    name: "loss-too-large", severity: Warning, scope: Run, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    limits: {
        "closed" = 95.0 "percent" "the amount from which no camera passes; common practice",
        "beyond" = 1.0 "m" "how far the run may go on, by the length of the camera; common practice",
    },
    facts: { "percent" = Percent "the amount, or the sum of the amounts at the place" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.disordered() || run.survey.lengths_doubtful() {
        return;
    }
    let last = run.run.observations.iter().map(|row| run.survey.metres(row.end()));
    let last = last.fold(f64::NEG_INFINITY, f64::max);
    let (mut at, mut sum) = (None, 0.0);
    for row in run.rows() {
        let Some((percent, of)) = loss(&row) else { continue };
        let end = run.survey.metres(row.row.end());
        let path = "/quantities/0/value";
        if percent >= out.limit("closed") && last > end + out.limit("beyond") {
            let further = run.survey.format_metres(last - end);
            let message =
                format!("{percent} percent close the pipe, but the run goes on for {further}");
            out.report(row.subject(path), message).fact("percent", percent);
            continue;
        }
        if of != PercentOf::Area || row.code.is_some_and(|code| code.family != Family::Operational)
        {
            continue;
        }
        if at != Some(row.row.at) {
            (at, sum) = (Some(row.row.at), 0.0);
        }
        let before = sum;
        sum += percent;
        if before > 0.0 && before <= 100.0 && sum > 100.0 && !is_repeated(&row) {
            let message = format!(
                "with this row {sum} percent of the cross-section are lost at {}",
                run.survey.format_length(row.row.at)
            );
            out.report(row.subject(path), message).fact("percent", sum);
        }
    }
}

/// Whether the row repeats the one before it, which another rule reports.
fn is_repeated(row: &RowView<'_>) -> bool {
    row.run.duplicates().iter().any(|pair| pair.0 == row.index)
}

/// How many percent a row takes of a dimension of the pipe, and of which one.
fn loss(row: &RowView<'_>) -> Option<(f64, PercentOf)> {
    let code = row.code?;
    let amount = row.row.quantities.first()?;
    let meaning = code.amounts(&row.row.characterisation).next()?;
    let of = meaning.of?;
    let of_pipe =
        matches!(of, PercentOf::Area | PercentOf::Height | PercentOf::Width | PercentOf::Diameter);
    let of_wall = matches!(code.family, Family::Structural | Family::Operational);
    let percent = amount.value.get();
    if amount.unit != QuantityUnit::Percent || !of_pipe || !of_wall || percent > 100.0 {
        return None;
    }
    let other = row.term().is_some_and(|term| {
        matches!(term.group(), "connection" | "repair" | "blockage" | "collapse")
            || term.code == "roots.in-connection"
    });
    (!other && !row.run.is_shifted(row.index)).then_some((percent, of))
}
