//! Sizes that are not those of the pipe: the value of a pipe is the same in all of its rows, or
//! only in the first of them. The width of a crack is in the row of the crack, and differs between
//! rows.

use std::collections::BTreeMap;

use obvert_model::layout::Target;

use super::{Choice, Column, SIZES, choose};
use crate::draft::statistics::Sample;
use crate::draft::vocabulary::Role;
use crate::grid::GridRow;

/// The columns that identify a run.
const KEYS: [Target; 7] = [
    Target::PIPE_ID,
    Target::RUN_ID,
    Target::RUN_FROM,
    Target::RUN_TO,
    Target::PIPE_UPSTREAM,
    Target::PIPE_DOWNSTREAM,
    Target::DIRECTION,
];

/// Chooses for the columns of a table. A column that was chosen for a size of the pipe and cannot
/// be one gets the reason, and a new choice.
pub(crate) fn settle(
    columns: &mut [Column],
    cells: &[usize],
    rows: &[&GridRow],
) -> Vec<Option<Choice>> {
    loop {
        let choices = choose(columns);
        match misfit(&choices, cells, rows) {
            Some((column, why)) => columns[column].varies = Some(why),
            None => return choices,
        }
    }
}

/// A column that was chosen for a size of the pipe and cannot be one, and why.
fn misfit(
    choices: &[Option<Choice>],
    cells: &[usize],
    rows: &[&GridRow],
) -> Option<(usize, String)> {
    let of = |targets: &[Target]| -> Vec<usize> {
        let is = |choice: &Option<Choice>| {
            choice.as_ref().is_some_and(|choice| {
                targets.iter().any(|target| choice.role() == Role::Field(*target))
            })
        };
        (0..choices.len()).filter(|column| is(&choices[*column])).collect()
    };
    let (keys, directions) = (of(&KEYS), of(&[Target::DIRECTION]));
    // The direction alone does not identify a run.
    if keys.iter().all(|key| directions.contains(key)) {
        return None;
    }
    let text = |row: &GridRow, column: usize| -> String {
        let cell = cells.get(column).and_then(|cell| row.cells.get(*cell));
        cell.map_or("", |cell| cell.text.trim()).to_owned()
    };
    of(&SIZES).into_iter().find_map(|column| {
        let mut runs: BTreeMap<Vec<String>, Vec<Sample>> = BTreeMap::new();
        for row in rows {
            let key = keys.iter().map(|key| text(row, *key)).collect();
            runs.entry(key).or_default().push((text(row, column), row.line));
        }
        let tally: Tally =
            runs.into_values().map(|run| Tally::of(&run)).fold(Tally::default(), Tally::and);
        Some((column, tally.against()?))
    })
}

/// Evidence from the values of runs on whether they belong to the pipe.
#[derive(Default)]
struct Tally {
    cells: usize,
    filled: usize,
    /// Runs with a value, and with two or more.
    with_any: usize,
    with_two: usize,
    /// Runs whose values differ, and two values of the first of them.
    differ: usize,
    pair: Option<(Sample, Sample)>,
    /// Runs with a value in few rows, and the first value of the first of them.
    scattered: usize,
    first: Option<Sample>,
}

impl Tally {
    fn of(run: &[Sample]) -> Self {
        let filled: Vec<&Sample> = run.iter().filter(|(value, _)| !value.is_empty()).collect();
        let mut tally = Self { cells: run.len(), filled: filled.len(), ..Self::default() };
        let Some(begin) = filled.first() else { return tally };
        tally.with_any = 1;
        tally.with_two = usize::from(filled.len() > 1);
        let times = |value: &str| filled.iter().filter(|(other, _)| other == value).count();
        let most = filled.iter().map(|(value, _)| times(value)).max().unwrap_or(0);
        // A single different value is an error, which reading reports.
        if most * 3 < filled.len() * 2 {
            tally.differ = 1;
            let other = filled.iter().find(|other| other.0 != begin.0);
            tally.pair = other.map(|other| ((*begin).clone(), (*other).clone()));
        }
        let starts = run.first().is_some_and(|(value, _)| !value.is_empty());
        let is_scattered = if starts {
            filled.len() > 1 && filled.len() * 2 < run.len()
        } else {
            filled.len() * 3 <= run.len() * 2
        };
        if is_scattered {
            tally.scattered = 1;
            tally.first = Some((*begin).clone());
        }
        tally
    }

    fn and(self, other: Self) -> Self {
        Self {
            cells: self.cells + other.cells,
            filled: self.filled + other.filled,
            with_any: self.with_any + other.with_any,
            with_two: self.with_two + other.with_two,
            differ: self.differ + other.differ,
            pair: self.pair.or(other.pair),
            scattered: self.scattered + other.scattered,
            first: self.first.or(other.first),
        }
    }

    /// The evidence against the values, if it holds for half of the runs with values.
    fn against(self) -> Option<String> {
        if let Some(((one, line), (other, below))) =
            self.pair.filter(|_| self.differ * 2 >= self.with_two)
        {
            return Some(format!(
                "within one pipe line {line} has {one:?} and line {below} has {other:?}"
            ));
        }
        let (value, line) = self.first.filter(|_| self.scattered * 2 >= self.with_any)?;
        let (filled, cells) = (self.filled, self.cells);
        Some(format!(
            "it is filled in on only {filled} of {cells} rows, the first being line {line} with {value:?}"
        ))
    }
}
