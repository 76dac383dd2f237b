//! Finds mistakes that run through a whole column, such as grades on a reversed scale. One finding
//! names the column, and the findings that only the mistake causes are not reported.
//!
//! Most values of a column must agree on the mistake, since a single value proves nothing.

use obvert_model::lists::{GradeScheme, Role};
use obvert_model::number::{ClockHour, Grade};
use obvert_model::tables::{Aspect, Dimension, Quantity, QuantityUnit};

use crate::grading::on_scale;
use crate::views::{RowView, RunView};

/// A mistake in a whole column, which explains findings about single rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Cause {
    /// 1 is the worst grade and not the best one, or the reverse.
    GradesReversed,
    /// Every grade is one less than the scheme's.
    GradesFromZero,
    /// Structural grades are recorded as operational ones, and the reverse.
    AspectsExchanged,
    /// Percentages are recorded as parts of 1.
    PercentAsFraction,
    /// Clock hours are in another unit.
    ClockUnit,
    /// Sizes of connections are in another unit.
    ConnectionUnit,
    /// The values of a column are in the row before or after their own.
    Shifted,
}

impl Cause {
    /// Every mistake.
    pub(crate) const ALL: [Self; 7] = [
        Self::GradesReversed,
        Self::GradesFromZero,
        Self::AspectsExchanged,
        Self::PercentAsFraction,
        Self::ClockUnit,
        Self::ConnectionUnit,
        Self::Shifted,
    ];

    /// The rule that reports it.
    pub(crate) const fn rule(self) -> &'static str {
        match self {
            Self::GradesReversed | Self::GradesFromZero | Self::AspectsExchanged => {
                "grade-column-suspect"
            }
            Self::PercentAsFraction => "percent-column-suspect",
            Self::ClockUnit => "clock-column-suspect",
            Self::ConnectionUnit => "connection-unit-suspect",
            Self::Shifted => "column-shifted",
        }
    }
}

/// Mistakes, each of which would explain a finding.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Causes(u8);

impl Causes {
    /// These mistakes, and another one if a condition holds.
    pub(crate) fn with(self, cause: Cause, holds: bool) -> Self {
        Self(self.0 | u8::from(holds) << cause as u8)
    }

    /// Whether there is none.
    pub(crate) const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Whether some are among others.
    pub(crate) const fn meet(self, others: Self) -> bool {
        self.0 & others.0 != 0
    }
}

impl From<Cause> for Causes {
    fn from(cause: Cause) -> Self {
        Self::default().with(cause, true)
    }
}

/// How many values agree on a mistake.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Vote {
    /// The values that agree on it.
    pub(crate) agree: usize,
    /// The values that could show it.
    pub(crate) of: usize,
}

impl Vote {
    fn add(&mut self, agrees: bool) {
        self.agree += usize::from(agrees);
        self.of += 1;
    }

    /// Whether at least so many values, and four in five, agree.
    fn carries(self, least: usize) -> bool {
        self.agree >= least && self.agree * 5 >= self.of * 4
    }
}

/// The votes of all rows of a survey.
#[derive(Debug, Default)]
pub(crate) struct ColumnVotes {
    /// Grades that are the scheme's on the reversed scale.
    pub(crate) reversed: Vote,
    /// Grades that are one less than the scheme's.
    pub(crate) from_zero: Vote,
    /// Graded rows whose grade is in the other aspect.
    pub(crate) exchanged: Vote,
    /// Percentages of 1 or less.
    pub(crate) fractions: Vote,
    /// Those of them below 1.
    below_one: usize,
    /// Clock hours above 12.5.
    pub(crate) hours: Vote,
    /// The highest clock hour.
    pub(crate) latest: f64,
    /// Connections that are too small for a pipe in their unit, but not in inches.
    pub(crate) small: Vote,
    /// Connections that are larger than the pipe in their unit, but not in millimetres.
    pub(crate) large: Vote,
}

/// How many values must agree on a mistake; common practice, no source.
const LEAST: usize = 5;

/// The same for values that are impossible, or nearly so, if taken alone.
const LEAST_IMPOSSIBLE: usize = 3;

/// Connecting pipes are no smaller; common practice, no source.
const SMALLEST_CONNECTION: f64 = 25.0;

impl ColumnVotes {
    /// Adds the rows of a run.
    pub(crate) fn add(&mut self, run: &RunView<'_>) {
        for row in run.rows() {
            self.add_grades(&row);
            self.add_amounts(&row);
            if let Some(clock) = &row.row.clock {
                [clock.at, clock.from, clock.to].iter().flatten().for_each(|hour| self.hour(*hour));
            }
        }
    }

    fn hour(&mut self, hour: ClockHour) {
        // 0 is at the top on each of these dials, and a slip as well.
        if hour.get() != 0.0 {
            self.hours.add(hour.get() >= 13.0);
        }
        self.latest = self.latest.max(hour.get());
    }

    fn add_grades(&mut self, row: &RowView<'_>) {
        let Some(grades) = &row.row.grades else { return };
        let Some(grader) = &row.survey().grader else { return };
        let recorded = |aspect: &Aspect| row.recorded(*aspect).is_some();
        let gradable = |aspect: &Aspect| row.gradable(*aspect);
        if let Some(one) = only(gradable).filter(|_| row.code.is_some() && !row.unlinked()) {
            self.exchanged.add(only(recorded).is_some_and(|aspect| aspect != one));
        }
        for aspect in Aspect::ALL {
            let recorded = match aspect {
                Aspect::Structural => grades.structural,
                Aspect::Operational => grades.operational,
            };
            let (Some(recorded), Some(given)) = (recorded, certain(row, *aspect)) else { continue };
            self.from_zero.add(is_one_less(recorded, given));
            let other = mirrored(grader.scheme, given);
            if other != i16::from(given.get()) {
                self.reversed.add(i16::from(recorded.get()) == other);
            }
        }
    }

    fn add_amounts(&mut self, row: &RowView<'_>) {
        let Some(code) = row.code else { return };
        let amounts = code.amounts(&row.row.characterisation);
        for (quantity, meaning) in row.row.quantities.iter().zip(amounts) {
            let value = quantity.value.get();
            if quantity.unit == QuantityUnit::Percent && value > 0.0 {
                self.fractions.add(value <= 1.0);
                self.below_one += usize::from(value < 1.0);
            }
            if code.role == Some(Role::Connection) && meaning.unit.dimension() == Dimension::Length
            {
                self.connection(row, value, quantity.unit);
            }
        }
    }

    fn connection(&mut self, row: &RowView<'_>, value: f64, unit: QuantityUnit) {
        match unit {
            QuantityUnit::Millimetre => {
                self.small.add(value > 0.0 && value < SMALLEST_CONNECTION);
            }
            QuantityUnit::Inch => {
                let Some(height) = row.cross_section().height else { return };
                self.large.add(value * 25.4 > height * 1.1 && value >= SMALLEST_CONNECTION);
            }
            _ => {}
        }
    }

    /// Whether the votes show a mistake.
    pub(crate) fn show(&self, cause: Cause) -> bool {
        match cause {
            Cause::GradesReversed => self.reversed.carries(LEAST),
            Cause::GradesFromZero => self.from_zero.carries(LEAST),
            Cause::AspectsExchanged => self.exchanged.carries(LEAST),
            Cause::PercentAsFraction => self.fractions.carries(LEAST) && self.below_one >= LEAST,
            Cause::ClockUnit => self.other_dial(),
            Cause::ConnectionUnit => {
                self.small_connections() || self.large.carries(LEAST_IMPOSSIBLE)
            }
            // A run shows it by itself.
            Cause::Shifted => true,
        }
    }

    /// Whether connections in millimetres are in inches.
    pub(crate) fn small_connections(&self) -> bool {
        self.small.carries(LEAST_IMPOSSIBLE)
    }

    /// Whether clock hours are on a dial with more than twelve of them. On a 24-hour dial half of
    /// the hours are above 12.
    fn other_dial(&self) -> bool {
        let Vote { agree, of } = self.hours;
        let share = if self.latest > 24.0 { 2 } else { 4 };
        agree >= LEAST_IMPOSSIBLE && agree * share >= of
    }
}

/// The aspect for which a condition holds, if it is only one.
fn only(holds: impl Fn(&Aspect) -> bool) -> Option<Aspect> {
    let mut fitting = Aspect::ALL.iter().filter(|aspect| holds(aspect));
    let first = fitting.next().copied();
    first.filter(|_| fitting.next().is_none())
}

/// The grade that the scheme gives a row, if it is certain.
pub(crate) fn certain(row: &RowView<'_>, aspect: Aspect) -> Option<Grade> {
    if !row.gradable(aspect) {
        return None;
    }
    row.judged(aspect).filter(|judgement| judgement.certain)?.grade
}

/// A grade on the reversed scale.
fn mirrored(scheme: &GradeScheme, grade: Grade) -> i16 {
    let ends = i16::from(scheme.scale.best.get()) + i16::from(scheme.scale.worst.get());
    ends - i16::from(grade.get())
}

fn is_one_less(recorded: Grade, given: Grade) -> bool {
    i16::from(recorded.get()) + 1 == i16::from(given.get())
}

/// The mistakes in columns that could have made a recorded grade wrong.
pub(crate) fn causes_of_grade(row: &RowView<'_>, aspect: Aspect, recorded: Grade) -> Causes {
    let causes = Causes::default().with(Cause::Shifted, row.run.is_shifted(row.index));
    let Some(grader) = &row.survey().grader else { return causes };
    if !row.gradable(aspect) {
        return causes.with(Cause::AspectsExchanged, true);
    }
    let Some(given) = certain(row, aspect).filter(|given| *given != recorded) else {
        return causes;
    };
    let fraction = |quantity: &Quantity| {
        quantity.unit == QuantityUnit::Percent && (0.0..=1.0).contains(&quantity.value.get())
    };
    let reversed = on_scale(grader.scheme, recorded)
        && i16::from(recorded.get()) == mirrored(grader.scheme, given);
    causes
        .with(Cause::PercentAsFraction, row.row.quantities.iter().any(fraction))
        .with(Cause::GradesFromZero, is_one_less(recorded, given))
        .with(Cause::GradesReversed, reversed)
}
