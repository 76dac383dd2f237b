//! Where a run has rows of some meaning, to find whether one is near another row.

use crate::support::terms::Term;
use crate::views::{RowView, RunView};

/// How far two rows are apart in metres, counted between their nearest ends; 0 if they overlap.
pub(crate) fn apart(a: &RowView<'_>, b: &RowView<'_>) -> f64 {
    let ((a_from, a_to), (b_from, b_to)) = (ends(a), ends(b));
    (b_from - a_to).max(a_from - b_to).max(0.0)
}

/// Where a row begins and ends, in metres.
fn ends(row: &RowView<'_>) -> (f64, f64) {
    let survey = row.survey();
    let (a, b) = (survey.metres(row.row.at), survey.metres(row.row.end()));
    (a.min(b), a.max(b))
}

/// The parts of a run in which rows mean something, from the start on, without overlaps.
pub(crate) struct Places(Vec<(f64, f64)>);

impl Places {
    /// The places of the rows that mean something.
    pub(crate) fn of(run: &RunView<'_>, means: impl Fn(&Term<'_>) -> bool) -> Self {
        let rows = run.rows().filter(|row| row.term().is_some_and(|term| means(&term)));
        let mut places: Vec<(f64, f64)> = rows.map(|row| ends(&row)).collect();
        places.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut merged: Vec<(f64, f64)> = Vec::new();
        for (from, to) in places {
            match merged.last_mut() {
                Some(last) if from <= last.1 => last.1 = last.1.max(to),
                _ => merged.push((from, to)),
            }
        }
        Self(merged)
    }

    /// Whether one of them is within so many metres of a row.
    pub(crate) fn near(&self, row: &RowView<'_>, metres: f64) -> bool {
        /// For the rounding of conversions.
        const ROUNDING: f64 = 1e-9;
        let (from, to) = ends(row);
        let next = self.0.partition_point(|place| place.1 < from - metres - ROUNDING);
        self.0.get(next).is_some_and(|place| place.0 <= to + metres + ROUNDING)
    }

    /// Whether one of them is between two distances, both included.
    pub(crate) fn between(&self, from: f64, to: f64) -> bool {
        let next = self.0.partition_point(|place| place.1 < from);
        self.0.get(next).is_some_and(|place| place.0 <= to)
    }
}
