//! The start of a run: one column of dates with times of day, or one of dates and one of times.
//! Other columns are for something else. An empty column does not show which of them it is or how
//! it is written.

use obvert_model::layout::Target;

use super::{Candidate, Column};
use crate::draft::statistics::{CellPattern, ColumnStatistics};
use crate::draft::vocabulary::Role;

/// The parts of a timestamp in a column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Part {
    Date,
    Time,
    Both,
}

/// The part in the values of a column.
pub(crate) fn part(statistics: &ColumnStatistics) -> Option<Part> {
    statistics.patterns.iter().find_map(|pattern| match pattern {
        CellPattern::DateTime(_) => Some(Part::Both),
        CellPattern::Date(_) => Some(Part::Date),
        CellPattern::Time(_) => Some(Part::Time),
        _ => None,
    })
}

/// The columns of the start of a run, from candidates with the most certain first: date and time of
/// day in two columns if both are more certain than columns with both.
pub(super) fn columns(sorted: &[Candidate], columns: &[Column]) -> Vec<usize> {
    let all =
        sorted.iter().filter(|candidate| candidate.choice.role() == Role::Field(Target::STARTED));
    let with_part = all.map(|candidate| {
        (candidate, part(candidate.choice.statistics(&columns[candidate.column])))
    });
    let all: Vec<(&Candidate, Option<Part>)> = with_part.collect();
    let first = |wanted: Part| {
        let found = all.iter().find(|(_, part)| *part == Some(wanted));
        found.map(|(candidate, _)| (candidate.column, candidate.choice.confidence))
    };
    match (first(Part::Both), first(Part::Date), first(Part::Time)) {
        (Some((_, sure)), Some((date, of_date)), Some((time, of_time)))
            if of_date > sure && of_time > sure =>
        {
            vec![date, time]
        }
        (Some((both, _)), ..) => vec![both],
        (None, date, time) => date.into_iter().chain(time).map(|(column, _)| column).collect(),
    }
}
