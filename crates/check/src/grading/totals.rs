//! Totals of grades over runs.
//!
//! A grade at a point counts once; a grade over a stretch counts once for every interval begun, and
//! at least once. `total` is the sum, `count` the number of counts, `mean` = total ÷ count,
//! `per_length` = total ÷ surveyed length × the scheme's length. The peak is, depending on the
//! scheme, the worst grade or the largest sum within one length of a run. Such lengths either divide
//! the run from its zero point on, or may begin anywhere. The results differ: 20 at 3.8 m and 25 at
//! 4.1 m give 25 in fixed metres and 45 in a sliding one.

use obvert_model::lists::GradeScheme;
use obvert_model::number::Grade;

use crate::grading::{on_scale, reaches};

/// The extent of a grade in its run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GradeExtent {
    /// Where it begins, in metres from the run's zero point.
    pub at: f64,
    /// Its length in metres: 0 for a point, `None` for a stretch whose end is unknown.
    pub length: Option<f64>,
}

impl GradeExtent {
    /// A point, in metres from the zero point.
    #[must_use]
    pub const fn point(at: f64) -> Self {
        Self { at, length: Some(0.0) }
    }
}

/// Totals of grades by the rules of a scheme.
///
/// ```
/// use obvert_check::grading::{GradeExtent, GradeTotals};
/// use obvert_model::lists::GradeScheme;
/// use obvert_model::number::Grade;
///
/// let scheme = GradeScheme::obvert_grades();
/// let mut totals = GradeTotals::default();
/// totals.add(Grade::from(3), GradeExtent::point(12.4), scheme);
/// totals.end_run(scheme);
/// assert_eq!((totals.total, totals.count), (3.0, 1));
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct GradeTotals {
    /// The worst grade.
    pub worst: Option<Grade>,
    /// The sum of the grades, with a stretch counted once for each interval.
    pub total: f64,
    /// How many were counted.
    pub count: u64,
    /// How many grades could not be counted: off the scale, or over a stretch whose end is unknown.
    pub doubtful: usize,
    /// The largest sum in one length, over the finished runs.
    max_window: f64,
    /// The grades of the current run with their positions in metres, for a scheme that sums by
    /// length.
    positions: Vec<(f64, f64)>,
}

impl GradeTotals {
    /// Counts one grade. A grade off the scale, or over a stretch of negative or unknown length, is
    /// doubtful and not counted.
    pub fn add(&mut self, grade: Grade, grade_extent: GradeExtent, scheme: &GradeScheme) {
        let Some(metres) =
            grade_extent.length.filter(|metres| *metres >= 0.0 && on_scale(scheme, grade))
        else {
            self.doubtful += 1;
            return;
        };
        let interval = scheme.rollup.interval.value * scheme.rollup.interval.unit.metres();
        // A stretch of exactly n intervals counts n times, with a margin for the rounding of
        // conversions.
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

    /// Takes back one count of a grade at a point that is counted elsewhere, with a grade that is no
    /// better. The peak stays: sums over lengths are of single runs.
    pub(crate) fn take_back_point(&mut self, grade: Grade, scheme: &GradeScheme) {
        if on_scale(scheme, grade) && self.count > 0 {
            self.total -= f64::from(grade.get());
            self.count -= 1;
        }
    }

    /// Finishes a run: lengths of different runs are not summed together.
    pub fn end_run(&mut self, scheme: &GradeScheme) {
        let Some((length, slides)) = scheme.rollup.peak_over().filter(|(length, _)| *length > 0.0)
        else {
            return;
        };
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

    /// Adds other totals.
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

    /// The peak by the scheme; `None` if nothing was counted.
    #[must_use]
    pub fn peak(&self, scheme: &GradeScheme) -> Option<f64> {
        let worst = self.worst?;
        Some(if scheme.rollup.peak_over().is_some() {
            self.max_window
        } else {
            f64::from(worst.get())
        })
    }

    /// The sum divided by the count.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then(|| self.total / self.count as f64)
    }

    /// The sum per length of the scheme, over `metres` surveyed.
    #[must_use]
    pub fn per_length(&self, metres: f64, scheme: &GradeScheme) -> Option<f64> {
        let unit = scheme.rollup.per_length.value * scheme.rollup.per_length.unit.metres();
        (metres > 0.0).then(|| self.total / metres * unit)
    }
}

/// The number of the interval that a position is in; an interval includes its beginning.
fn interval_of(at: f64, length: f64) -> f64 {
    (at / length + 1e-9).floor()
}
