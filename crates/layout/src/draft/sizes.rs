//! Sizes that are none of the pipe: what is true of a pipe is the same in all of its rows, or stands in the first of them alone. A width
//! of a crack stands where the crack is, and differs from one to the next.

use std::collections::BTreeMap;

use super::super::grid::GridRow;
use super::choose::{Choice, Column, SIZES, choose};

/// What tells one run of one pipe from another.
const KEYS: [&str; 7] =
    ["pipes.id", "runs.id", "runs.from", "runs.to", "pipes.upstream", "pipes.downstream", "runs.direction"];

/// Chooses for the columns of a table; a column that was taken for a size of the pipe and cannot be one is told why, and chosen for again.
pub(super) fn settle(columns: &mut [Column], cells: &[usize], rows: &[&GridRow]) -> Vec<Option<Choice>> {
    loop {
        let choices = choose(columns);
        let is = |column: usize, of: &[&str]| {
            choices.get(column).and_then(Option::as_ref).is_some_and(|choice| of.contains(&choice.target.to.as_str()))
        };
        let of = |to: &[&str]| -> Vec<usize> { (0..columns.len()).filter(|column| is(*column, to)).collect() };
        let text = |row: &GridRow, column: usize| -> String {
            let cell = cells.get(column).and_then(|cell| row.cells.get(*cell));
            cell.map_or("", |cell| cell.text.trim()).to_owned()
        };
        let keys = of(&KEYS);
        let wrong = of(&SIZES).into_iter().find_map(|column| {
            let mut runs: BTreeMap<Vec<String>, Vec<(String, usize)>> = BTreeMap::new();
            for row in rows {
                let key = keys.iter().map(|key| text(row, *key)).collect();
                runs.entry(key).or_default().push((text(row, column), row.line));
            }
            Some((column, against(&runs.into_values().collect::<Vec<_>>())?))
        });
        match wrong.filter(|_| keys.iter().any(|key| !is(*key, &["runs.direction"]))) {
            Some((column, why)) => columns[column].varies = Some(why),
            None => return choices,
        }
    }
}

/// What speaks against values, by run and with their lines, being of the pipe, where it does so in half of the runs that have any.
fn against(runs: &[Vec<(String, usize)>]) -> Option<String> {
    let (mut with_any, mut with_two, mut differ, mut few) = (0, 0, 0, 0);
    let mut pair = None;
    let mut first = None;
    for run in runs {
        let filled: Vec<&(String, usize)> = run.iter().filter(|(value, _)| !value.is_empty()).collect();
        let Some(begin) = filled.first() else { continue };
        with_any += 1;
        with_two += usize::from(filled.len() > 1);
        let times = |value: &str| filled.iter().filter(|(other, _)| other == value).count();
        let most = filled.iter().map(|(value, _)| times(value)).max().unwrap_or(0);
        // One value that is another is a mistake, which reading finds.
        if most * 3 < filled.len() * 2 {
            differ += 1;
            let other = filled.iter().find(|other| other.0 != begin.0);
            pair = pair.or(other.map(|other| ((*begin).clone(), (*other).clone())));
        }
        let starts = run.first().is_some_and(|(value, _)| !value.is_empty());
        let scattered =
            if starts { filled.len() > 1 && filled.len() * 2 < run.len() } else { filled.len() * 3 <= run.len() * 2 };
        if scattered {
            few += 1;
            first = first.or_else(|| Some((*begin).clone()));
        }
    }
    let cells = runs.iter().flatten();
    let filled = cells.clone().filter(|(value, _)| !value.is_empty()).count();
    if let Some(((one, line), (other, below))) = pair.filter(|_| differ * 2 >= with_two) {
        return Some(format!("within one pipe line {line} has {one:?} and line {below} has {other:?}"));
    }
    let (value, line) = first.filter(|_| few * 2 >= with_any)?;
    Some(format!(
        "it is filled in on {filled} of {} rows only, the first of them line {line} with {value:?}",
        cells.count()
    ))
}
