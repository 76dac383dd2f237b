//! See the rule's documentation below.

use obvert_model::lists::Role;
use obvert_model::tables::QuantityUnit;

use crate::grading::in_range;
use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// From one recorded water level to the next, close by, the level does not jump. Where the pipe's gradient and height
    /// are known, what a flat water surface gains over that distance is allowed for.
    ///
    /// The rule stands back between rows with a change of size or shape between them, and for levels that are impossible
    /// in themselves.
    ///
    /// # Exactly
    /// Each row of the role `level` whose first amount is a percentage within the list's range is held against the one
    /// before it in the run, where it is 0 to `within` farther than the end of that one. The level jumps where the two
    /// differ by more than `step` + slope × way ∕ height × 100, in percentage points; the slope is the difference of the
    /// inverts over the length of the pipe, the height that of the bore. Where one of them is not known only `step` is
    /// allowed.
    ///
    /// # Why it matters
    /// Water lies level or falls gently. A level that leaps within a camera's length is a slipped digit, or the first
    /// sign of something in the way that nobody recorded.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/quantities/0/value`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 3, "code": "water.level", "quantities": [{"value": 50, "unit": "percent"}]}}]
    /// ```
    ///
    /// # Passes
    /// Just as much as is allowed.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 3, "code": "water.level", "quantities": [{"value": 35, "unit": "percent"}]}}]
    /// ```
    /// Far apart.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 12, "code": "water.level", "quantities": [{"value": 50, "unit": "percent"}]}}]
    /// ```
    ///
    /// # Fix
    /// Look at both places in the video; correct the level, or record what holds the water back.
    name: "water-level-jump", severity: Warning, scope: Run, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    uses: [cross_section],
    limits: {
        "step" = 30.0 "percentage points" "the most that the level may change, common practice",
        "within" = 1.5 "m" "the distance over which it is judged, common practice",
    },
    facts: {
        "before" = Percent "the level in the row before",
        "level" = Percent "the level in this row",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.disordered() || run.survey.lengths_doubtful() {
        return;
    }
    let (step, within) = (out.limit("step"), out.limit("within"));
    let mut last: Option<(RowView<'_>, f64)> = None;
    for row in run.rows() {
        match row.role() {
            Some(Role::SizeChange | Role::ShapeChange) => last = None,
            Some(Role::Level) => {
                let Some(level) = level(&row) else { continue };
                if let Some((before, was)) = last {
                    let metres = run.survey.metres(row.row.at) - run.survey.metres(before.row.end());
                    let allowed = step + flat(&row, metres);
                    if (0.0..=within).contains(&metres) && (level - was).abs() > allowed {
                        let end = run.survey.say(before.row.end());
                        out.report(
                            row.subject("/quantities/0/value"),
                            format!(
                                "the water level jumps from {was} to {level} percent within {} (from {end} on)",
                                run.survey.say_metres(metres)
                            ),
                        )
                        .fact("before", was)
                        .fact("level", level);
                    }
                }
                last = Some((row, level));
            }
            _ => {}
        }
    }
}

/// The level in percent, where one is recorded and possible.
fn level(row: &RowView<'_>) -> Option<f64> {
    let meaning =
        row.code?.amounts(&row.row.characterisation).next().filter(|meaning| meaning.unit == QuantityUnit::Percent)?;
    row.amount(0).filter(|amount| in_range(meaning, *amount))
}

/// How much a flat water surface gains on the invert over a distance, in percent of the height; 0 where it is not known.
fn flat(row: &RowView<'_>, metres: f64) -> f64 {
    let gain = || {
        let view = row.run.pipe?;
        let ((upper, lower), length) = (view.inverts()?, view.pipe.length?.get());
        let slope = (length > 0.0).then(|| (upper - lower).abs() / length)?;
        Some(slope * metres * 1000.0 / row.cross_section().height? * 100.0)
    };
    gain().unwrap_or(0.0)
}
