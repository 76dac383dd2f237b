//! Grades rolled up over runs.
//!
//! A grade at a point counts once, a grade over a stretch once for every interval begun and at least once. `total` is the
//! sum, `count` how many were counted, `mean` = total ÷ count, `per_length` = total ÷ surveyed length × the scheme's
//! length. The peak is what the scheme says: the worst grade, or the greatest sum in one length of a run, which is either
//! one of those that the run is cut into from its zero point on or may begin anywhere. The two give different figures:
//! 20 at 3.8 m and 25 at 4.1 m are 25 in fixed metres and 45 in a sliding one.

use obvert_model::lists::GradeScheme;
use obvert_model::number::Grade;

use crate::grading::{on_scale, reaches};

/// What is counted: where a grade stands in its run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GradeExtent {
    /// How far from the run's zero point it begins, in metres.
    pub at: f64,
    /// Over what length, in metres: 0 for a point, `None` for a stretch whose end is not known.
    pub length: Option<f64>,
}

impl GradeExtent {
    /// At a point, so many metres from the zero point.
    #[must_use]
    pub const fn point(at: f64) -> Self {
        Self { at, length: Some(0.0) }
    }
}

/// Grades rolled up.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GradeTotals {
    /// The worst grade.
    pub worst: Option<Grade>,
    /// The sum of the grades, a stretch counted once an interval.
    pub total: f64,
    /// How many were counted.
    pub count: u64,
    /// How many grades could not be counted as the scheme says: off its scale, or over a stretch whose end is not known.
    pub doubtful: usize,
    /// The greatest sum in one length, over the runs that have been ended.
    max_window: f64,
    /// What was counted in the run that goes on, and where, in metres; only kept for a scheme that sums by length.
    positions: Vec<(f64, f64)>,
}

impl GradeTotals {
    /// Counts one grade. A grade off the scale, or over a stretch of negative or unknown length, is doubtful and adds
    /// nothing else.
    pub fn add(&mut self, grade: Grade, grade_extent: GradeExtent, scheme: &GradeScheme) {
        let Some(metres) = grade_extent.length.filter(|metres| *metres >= 0.0 && on_scale(scheme, grade)) else {
            self.doubtful += 1;
            return;
        };
        let interval = scheme.rollup.interval.value * scheme.rollup.interval.unit.metres();
        // A stretch of exactly n intervals counts n times, whatever a conversion leaves in the last digit.
        let times = if interval > 0.0 { (metres / interval - 1e-9).ceil().max(1.0) } else { 1.0 };
        let weight = f64::from(grade.get());
        self.total += weight * times;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        {
            self.count += times as u64;
        }
        if scheme.rollup.peak_over().is_some() {
            let mut nth = 0.0;
            while nth < times {
                self.positions.push((grade_extent.at + nth * interval, weight));
                nth += 1.0;
            }
        }
        self.take_worst(Some(grade), scheme);
    }

    /// Says that a run has ended: lengths of different runs are not summed together.
    pub fn end_run(&mut self, scheme: &GradeScheme) {
        let Some((length, slides)) = scheme.rollup.peak_over().filter(|(length, _)| *length > 0.0) else { return };
        let mut positions = std::mem::take(&mut self.positions);
        positions.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut first = 0;
        let mut sum = 0.0;
        for (index, (at, weight)) in positions.iter().enumerate() {
            sum += weight;
            let apart = |earlier: f64| match slides {
                true => reaches(at - earlier, length),
                false => interval_of(*at, length) > interval_of(earlier, length),
            };
            while first < index && apart(positions[first].0) {
                sum -= positions[first].1;
                first += 1;
            }
            self.max_window = self.max_window.max(sum);
        }
    }

    /// Adds another tally to this one.
    pub fn merge(&mut self, other: &Self, scheme: &GradeScheme) {
        self.total += other.total;
        self.count += other.count;
        self.doubtful += other.doubtful;
        self.max_window = self.max_window.max(other.max_window);
        self.take_worst(other.worst, scheme);
    }

    fn take_worst(&mut self, grade: Option<Grade>, scheme: &GradeScheme) {
        let rising = scheme.scale.worst >= scheme.scale.best;
        self.worst = match (self.worst, grade) {
            (Some(a), Some(b)) => Some(if rising { a.max(b) } else { a.min(b) }),
            (a, b) => a.or(b),
        };
    }

    /// The peak, as the scheme has it; `None` where nothing was counted.
    #[must_use]
    pub fn peak(&self, scheme: &GradeScheme) -> Option<f64> {
        let worst = self.worst?;
        Some(if scheme.rollup.peak_over().is_some() { self.max_window } else { f64::from(worst.get()) })
    }

    /// The sum divided by the count.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then(|| self.total / self.count as f64)
    }

    /// The sum for each of the scheme's lengths, over `metres` surveyed.
    #[must_use]
    pub fn per_length(&self, metres: f64, scheme: &GradeScheme) -> Option<f64> {
        let unit = scheme.rollup.per_length.value * scheme.rollup.per_length.unit.metres();
        (metres > 0.0).then(|| self.total / metres * unit)
    }
}

/// Which of the lengths that a run is cut into a place is in; its beginning belongs to a length.
fn interval_of(at: f64, length: f64) -> f64 {
    (at / length + 1e-9).floor()
}
