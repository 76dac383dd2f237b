//! See the rule's documentation below.

use obvert_model::lists::Role;
use obvert_model::tables::QuantityUnit;

use crate::grading::in_range;
use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// The water level jumps from one recorded level to the next close by, by more than a flat
    /// water surface would gain.
    ///
    /// # Exceptions
    /// - A change of size or shape is recorded between the two rows.
    /// - The run is *disordered*, or lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// Rows of the role `level` whose first quantity is a percentage in the list's range count;
    /// others are passed over. Each is compared with the last before it that counts, if it begins 0
    /// to `within` after the end of that one. There is a finding if the two differ by more than
    ///
    /// > `step` + slope × distance ∕ height × 100
    ///
    /// percentage points. The slope is the difference of the pipe's inverts over its length, the
    /// height that of the cross-section at the row; if one of them is not known, only `step` is
    /// allowed.
    ///
    /// # Why it matters
    /// Water lies level or falls gently: a digit is mistyped, or an obstruction was not recorded.
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
    /// Exactly as much as is allowed.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 3, "code": "water.level", "quantities": [{"value": 35, "unit": "percent"}]}}]
    /// ```
    /// Far apart.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 12, "code": "water.level", "quantities": [{"value": 50, "unit": "percent"}]}}]
    /// ```
    /// A level in another unit is passed over, and the two around it are compared.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value": {"id": "2a", "at": 3,
    ///   "code": "water.level", "quantities": [{"value": 50, "unit": "mm"}]}}]
    /// ```
    ///
    /// # Fix
    /// Check both places in the video. Correct the level, or record the obstruction.
    name: "water-level-jump", severity: Warning, scope: Run, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    uses: [cross_section],
    limits: {
        "step" = 30.0 "percentage points" "the most that the level may change; common practice",
        "within" = 1.5 "m" "the distance within which levels are compared; common practice",
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
    let mut last: Option<Level<'_>> = None;
    for row in run.rows() {
        match row.role() {
            Some(Role::SizeChange | Role::ShapeChange) => last = None,
            Some(Role::Level) => {
                let Some(percent) = level(&row) else { continue };
                let level = Level { row, percent };
                if let Some(before) = last.replace(level) {
                    compare(before, level, out);
                }
            }
            _ => {}
        }
    }
}

/// A recorded water level.
#[derive(Clone, Copy)]
struct Level<'r> {
    row: RowView<'r>,
    percent: f64,
}

/// Compares two consecutive levels.
fn compare(before: Level<'_>, level: Level<'_>, out: &mut Sink<'_>) {
    let survey = level.row.survey();
    let from = before.row.row.end();
    let metres = survey.metres(level.row.row.at) - survey.metres(from);
    let allowed = out.limit("step") + flat(&level.row, metres);
    let near = (0.0..=out.limit("within")).contains(&metres);
    if !near || (level.percent - before.percent).abs() <= allowed {
        return;
    }
    let message = format!(
        "the water level jumps from {} to {} percent within {}, from {} on",
        before.percent,
        level.percent,
        survey.format_metres(metres),
        survey.format_length(from)
    );
    out.report(level.row.subject("/quantities/0/value"), message)
        .fact("before", before.percent)
        .fact("level", level.percent);
}

/// The level in percent, if one is recorded and in range.
fn level(row: &RowView<'_>) -> Option<f64> {
    let meaning = row
        .code?
        .amounts(&row.row.characterisation)
        .next()
        .filter(|meaning| meaning.unit == QuantityUnit::Percent)?;
    row.amount(0).filter(|amount| in_range(meaning, *amount))
}

/// How much a flat water surface gains on the invert over a distance, in percent of the height; 0
/// if not known.
fn flat(row: &RowView<'_>, metres: f64) -> f64 {
    let gain = || {
        let view = row.run.pipe?;
        let ((upper, lower), length) = (view.inverts()?, view.pipe.length?.get());
        let slope = (length > 0.0).then(|| (upper - lower).abs() / length)?;
        Some(slope * metres * 1000.0 / row.cross_section().height? * 100.0)
    };
    gain().unwrap_or(0.0)
}
