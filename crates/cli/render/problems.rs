//! Structural problems as text, for commands without a report. Similar problems are listed a few
//! times and then counted.

use std::collections::HashMap;

use obvert::convert::PlacedProblem;

use crate::input::Input;

/// How many similar problems are listed.
const LISTED: usize = 3;

/// The problems of a survey, as lines. In a table they have the row and the column but no pointer,
/// because its author never sees the document.
pub(crate) fn lines(problems: &[PlacedProblem], input: &Input<'_>) -> Vec<String> {
    let tabular = input.format().capabilities.tabular;
    let key = |placed: &PlacedProblem| {
        let PlacedProblem { place, problem } = placed;
        let place = place.as_ref().map(|place| (place.file.clone(), place.heading.clone()));
        let pointer = if input.is_json() { shape(&problem.pointer) } else { String::new() };
        format!("{place:?} {pointer} {:?} {}", problem.kind, shape(&problem.message))
    };
    let place = |placed: &PlacedProblem| match &input.problem(placed).place {
        Some(place) => place.to_string(),
        None => placed.problem.pointer.clone(),
    };
    folded(problems, key, |placed| line(&input.problem(placed), tabular), place)
}

fn line(placed: &PlacedProblem, tabular: bool) -> String {
    let problem = &placed.problem;
    match (&placed.place, &problem.suggestion) {
        (Some(place), Some(near)) if tabular => {
            format!("{place}: {}; did you mean {near:?}?", problem.message)
        }
        (Some(place), None) if tabular => format!("{place}: {}", problem.message),
        _ => placed.to_string(),
    }
}

/// The lines of items. Of the items with the same key, the first few are listed and the rest is
/// counted.
fn folded<P>(
    problems: &[P],
    key: impl Fn(&P) -> String,
    line: impl Fn(&P) -> String,
    place: impl Fn(&P) -> String,
) -> Vec<String> {
    let keys: Vec<String> = problems.iter().map(key).collect();
    let mut all: HashMap<&str, (usize, &P)> = HashMap::new();
    for (key, problem) in keys.iter().zip(problems) {
        let (count, last) = all.entry(key).or_insert((0, problem));
        (*count, *last) = (*count + 1, problem);
    }
    let mut lines = Vec::new();
    let mut listed: HashMap<&str, usize> = HashMap::new();
    for (key, problem) in keys.iter().zip(problems) {
        let listed = listed.entry(key).or_insert(0);
        *listed += 1;
        match all.get(key.as_str()) {
            // A count of one more would take the same space as the line.
            Some((count, _)) if *listed <= LISTED || *count == LISTED + 1 => {
                lines.push(line(problem));
            }
            Some((count, last)) if *listed == LISTED + 1 => {
                lines.push(format!(
                    "and {} more like the {LISTED} above, the last at {}",
                    count - LISTED,
                    place(last)
                ));
            }
            _ => {}
        }
    }
    lines
}

/// A text without the parts that differ from row to row: quoted texts and numbers.
fn shape(text: &str) -> String {
    let mut shape = String::new();
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        match letter {
            '"' => {
                while let Some(inner) = letters.next() {
                    match inner {
                        '\\' => drop(letters.next()),
                        '"' => break,
                        _ => {}
                    }
                }
                shape.push('"');
            }
            _ if letter.is_ascii_digit() => {
                while letters.next_if(|next| next.is_ascii_digit() || *next == '.').is_some() {}
                shape.push('0');
            }
            _ => shape.push(letter),
        }
    }
    shape
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_that_differ_in_values_have_the_same_shape() {
        assert_eq!(
            shape(r#"found "DN \"300\"" in row 12.5, expected a number"#),
            shape(r#"found "x" in row 7, expected a number"#)
        );
        assert_ne!(shape("found a date"), shape("found a time"));
    }

    #[test]
    fn similar_items_are_listed_three_times_and_counted() {
        let lines = |count: usize| {
            let rows: Vec<usize> = (1..=count).collect();
            folded(
                &rows,
                |row| (row % 2).to_string(),
                |row| format!("row {row}"),
                |row| format!("t:{row}"),
            )
        };
        assert_eq!(lines(4), ["row 1", "row 2", "row 3", "row 4"]);
        assert_eq!(lines(8).len(), 8, "one more is listed");
        assert_eq!(
            lines(11),
            [
                "row 1",
                "row 2",
                "row 3",
                "row 4",
                "row 5",
                "row 6",
                "and 3 more like the 3 above, the last at t:11",
                "and 2 more like the 3 above, the last at t:10",
            ]
        );
    }
}
