//! When a run began: one column of dates with times of day, or one of dates and one of times. Others are of something else, and an empty
//! one tells neither which of them it is nor how it is written.

use super::choose::{Choice, Column};
use super::form::Form;
use super::look::Look;

/// The field.
pub(super) const WHEN: &str = "runs.started";

/// What a column is of a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Part {
    Date,
    Time,
    Both,
}

/// The part that the values of a column are.
pub(super) fn part(look: &Look) -> Option<Part> {
    look.find(|form| match form {
        Form::DateTime(_) => Some(Part::Both),
        Form::Date(_) => Some(Part::Date),
        Form::Time(_) => Some(Part::Time),
        _ => None,
    })
}

/// The columns that are when a run began, of choices from the surest on, each with its column: date and time of day in two columns where
/// both are surer than those that have both in one.
pub(super) fn columns(sorted: &[(usize, usize, Choice)], columns: &[Column]) -> Vec<usize> {
    let all = sorted.iter().filter(|(_, _, choice)| choice.target.to == WHEN);
    let all: Vec<(usize, f64, Option<Part>)> =
        all.map(|(column, _, choice)| (*column, choice.confidence, part(choice.look(&columns[*column])))).collect();
    let first =
        |wanted: Part| all.iter().find(|(.., part)| *part == Some(wanted)).map(|(column, sure, _)| (*column, *sure));
    match (first(Part::Both), first(Part::Date), first(Part::Time)) {
        (Some((_, sure)), Some((date, of_date)), Some((time, of_time))) if of_date > sure && of_time > sure => {
            vec![date, time]
        }
        (Some((both, _)), ..) => vec![both],
        (None, date, time) => date.into_iter().chain(time).map(|(column, _)| column).collect(),
    }
}
