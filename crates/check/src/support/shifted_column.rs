//! Finds columns of a run's rows that are shifted by a row: a cell was inserted or deleted in a
//! table, and every value below it belongs to the row above or below. The code list and the grade
//! scheme show where each value fits.

use obvert_model::lists::{ClockExtent, ClockUse};
use obvert_model::tables::{Aspect, Clock, ClockReading, Grades, Quantity};

use crate::grading::{in_range, judge};
use crate::views::{RowView, RunView};

/// The columns whose values the code list or the grade scheme decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Column {
    /// `grades`.
    Grades,
    /// `clock`.
    Clock,
    /// `quantities`.
    Quantities,
}

impl Column {
    const ALL: [Self; 3] = [Self::Grades, Self::Clock, Self::Quantities];

    /// The key of the column.
    pub(crate) const fn key(self) -> &'static str {
        match self {
            Self::Grades => "grades",
            Self::Clock => "clock",
            Self::Quantities => "quantities",
        }
    }
}

/// A column that is shifted by a row.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shift {
    /// The column.
    pub(crate) column: Column,
    /// The first row whose value is in another row.
    pub(crate) from: usize,
    /// Whether the values are in the row after their own, rather than before it.
    pub(crate) down: bool,
    /// How many values do not fit their rows.
    pub(crate) wrong: usize,
    /// How many would not fit if the column were moved back.
    pub(crate) left: usize,
}

/// How many misfits must go away; common practice, no source.
const LEAST: usize = 4;

/// The shifted column of a run; `None` if its values fit their rows, or no shift explains at least
/// four in five misfits.
pub(crate) fn shift(run: &RunView<'_>) -> Option<Shift> {
    let rows: Vec<RowView<'_>> = run.rows().collect();
    let here: Vec<usize> = rows.iter().map(|row| misfits(row, Values::of(row))).collect();
    let wrong: usize = here.iter().sum();
    if wrong < LEAST {
        return None;
    }
    let shifts = Column::ALL.into_iter().flat_map(|column| [(column, true), (column, false)]);
    let shifts = shifts.map(|(column, down)| {
        let moved: Vec<usize> = (0..rows.len())
            .map(|index| {
                let other = if down { Some(index + 1) } else { index.checked_sub(1) };
                let other = other.and_then(|other| rows.get(other));
                misfits(&rows[index], Values::of(&rows[index]).with(column, other))
            })
            .collect();
        let (from, left) = best_start(&here, &moved);
        Shift { column, from, down, wrong, left }
    });
    let best = shifts.min_by_key(|shift| shift.left)?;
    (wrong - best.left.min(wrong) >= LEAST && best.left * 5 <= wrong).then_some(best)
}

/// The row from which on the values are best taken from the other row, and how many misfits are
/// left then.
fn best_start(here: &[usize], moved: &[usize]) -> (usize, usize) {
    let mut left: usize = moved.iter().sum();
    let mut best = (0, left);
    for from in 1..=here.len() {
        left = left + here[from - 1] - moved[from - 1];
        if left < best.1 {
            best = (from, left);
        }
    }
    best
}

/// The values of a row, some of which are another row's.
struct Values<'r> {
    grades: Option<&'r Grades>,
    clock: Option<&'r Clock>,
    quantities: &'r [Quantity],
    /// Whether the quantities are the row's own.
    own: bool,
}

impl<'r> Values<'r> {
    fn of(row: &RowView<'r>) -> Self {
        let row = row.row;
        Self {
            grades: row.grades.as_ref(),
            clock: row.clock.as_ref(),
            quantities: &row.quantities,
            own: true,
        }
    }

    /// The same with a value of another row, or without the value.
    fn with(self, column: Column, other: Option<&RowView<'r>>) -> Self {
        let other = other.map(|other| other.row);
        match column {
            Column::Grades => Self { grades: other.and_then(|row| row.grades.as_ref()), ..self },
            Column::Clock => Self { clock: other.and_then(|row| row.clock.as_ref()), ..self },
            Column::Quantities => {
                let quantities = other.map_or(&[] as &[Quantity], |row| &row.quantities);
                Self { quantities, own: false, ..self }
            }
        }
    }
}

/// How many values do not fit a row.
fn misfits(row: &RowView<'_>, values: Values<'_>) -> usize {
    let Some(code) = row.code else { return 0 };
    let clock = match (code.clock.usage, values.clock.map(Clock::reading)) {
        (ClockUse::Required, None) | (ClockUse::None, Some(_)) => 1,
        (ClockUse::None, None) | (ClockUse::Optional, None) => 0,
        (_, Some(reading)) => match (code.clock.extent, reading) {
            (Some(ClockExtent::Point), Some(ClockReading::Arc(..)))
            | (Some(ClockExtent::Span), Some(ClockReading::Point(_))) => 1,
            _ => 0,
        },
    };
    clock + misfitting_quantities(row, values.quantities) + misfitting_grades(row, &values)
}

fn misfitting_quantities(row: &RowView<'_>, quantities: &[Quantity]) -> usize {
    let Some(code) = row.code else { return 0 };
    let amounts = || code.amounts(&row.row.characterisation);
    let fits = |quantity: &Quantity, meaning: &obvert_model::lists::QuantityMeaning| {
        let factor = quantity.unit.factor_to(meaning.unit);
        factor.is_some_and(|factor| in_range(meaning, quantity.value.get() * factor))
    };
    let wrong =
        quantities.iter().zip(amounts()).filter(|(quantity, meaning)| !fits(quantity, meaning));
    let missing = amounts().skip(quantities.len()).filter(|meaning| meaning.required == Some(true));
    wrong.count() + missing.count() + quantities.len().saturating_sub(amounts().count())
}

fn misfitting_grades(row: &RowView<'_>, values: &Values<'_>) -> usize {
    if row.survey().grader.is_none() || row.unlinked() {
        return 0;
    }
    let (Some(code), Some(entries)) = (row.code, row.facts.entries) else {
        return values.grades.map_or(0, |_| 1);
    };
    let recorded = |aspect: Aspect| match aspect {
        Aspect::Structural => values.grades.and_then(|grades| grades.structural),
        Aspect::Operational => values.grades.and_then(|grades| grades.operational),
    };
    // With the quantities of another row the grade is another one, too.
    let other = (!values.own && row.facts.via.is_none()).then(|| {
        let mut other = row.row.clone();
        other.quantities = values.quantities.to_vec();
        other
    });
    let differs = |aspect: &&Aspect| {
        let judged = match &other {
            Some(other) => Some(judge(entries.of(**aspect), code, other, &row.cross_section())),
            None => row.judged(**aspect),
        };
        if entries.of(**aspect).is_empty() {
            return recorded(**aspect).is_some();
        }
        judged.is_some_and(|judged| judged.certain && judged.grade != recorded(**aspect))
    };
    Aspect::ALL.iter().filter(differs).count()
}
