//! Finds the headings of a table, and its complete rows.

use std::collections::BTreeMap;

use super::vocabulary;
use crate::grid::{GridRow, headings};

/// Rows from this one on are not headings.
const DEEPEST: usize = 40;

/// The number of cells that most rows have.
pub(super) fn usual_width(rows: &[GridRow]) -> usize {
    let mut often: BTreeMap<usize, usize> = BTreeMap::new();
    rows.iter()
        .filter(|row| !row.is_blank())
        .for_each(|row| *often.entry(row.cells.len()).or_default() += 1);
    often.into_iter().max_by_key(|(wide, times)| (*times, *wide)).map_or(0, |(wide, _)| wide)
}

/// The number of rows with this number of cells.
pub(super) fn count_of_width(rows: &[GridRow], wide: usize) -> usize {
    rows.iter().filter(|row| row.cells.len() == wide).count()
}

/// The rows of headings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct HeadingRows {
    /// The index of the first row.
    pub(super) first: usize,
    /// The number of rows.
    pub(super) deep: usize,
}

impl HeadingRows {
    /// The first row that is more than half full and has no values, together with the row below or
    /// above it if that belongs to it. `None` if there is none.
    pub(super) fn find(rows: &[GridRow], wide: usize) -> Option<Self> {
        let first = rows
            .iter()
            .take(DEEPEST)
            .position(|row| filled(row) > 1 && filled(row) * 2 > wide && !has_values(row))?;
        let here = rows.get(first)?;
        // Merged cells leave gaps, and the single headings are in the row below, which has no
        // numbers, above a row with numbers.
        let is_merged = filled(here) < wide
            && rows.get(first + 1).is_some_and(|row| !has_values(row) && filled(row) > 0)
            && rows.get(first + 2).is_some_and(has_values);
        if is_merged {
            return Some(Self { first, deep: 2 });
        }
        // Or the single headings are in this row, and only the cells above distinguish them.
        let above = first.checked_sub(1).and_then(|above| Some((above, rows.get(above)?)));
        match above.filter(|(_, row)| is_unclear(here) && has_groups(row)) {
            Some((above, _)) => Some(Self { first: above, deep: 2 }),
            None => Some(Self { first, deep: 1 }),
        }
    }

    /// The index of the row below them.
    pub(super) const fn end(self) -> usize {
        self.first + self.deep
    }

    /// The headings.
    pub(super) fn read(self, rows: &[GridRow]) -> Vec<String> {
        headings(&rows[self.first..self.end()])
    }
}

fn filled(row: &GridRow) -> usize {
    row.cells.iter().filter(|cell| !cell.text.trim().is_empty()).count()
}

/// Whether a row has a cell that cannot be a heading: it has digits and no letters.
fn has_values(row: &GridRow) -> bool {
    let is_value = |text: &str| {
        text.contains(|letter: char| letter.is_ascii_digit()) && !text.contains(char::is_alphabetic)
    };
    row.cells.iter().any(|cell| is_value(&cell.text))
}

/// Whether some headings of a row are blank of meaning or the same.
fn is_unclear(row: &GridRow) -> bool {
    let words = row.cells.iter().map(|cell| vocabulary::words(&cell.text));
    let named: Vec<Vec<String>> = words.filter(|words| !words.is_empty()).collect();
    named
        .iter()
        .enumerate()
        .any(|(index, own)| vocabulary::is_bare(own) || named[..index].contains(own))
}

/// Whether a row has headings for groups of columns. A title is only in the first cell.
fn has_groups(row: &GridRow) -> bool {
    let begins = row.cells.first().is_some_and(|cell| !cell.text.trim().is_empty());
    filled(row) > usize::from(begins) && !has_values(row)
}

/// The rows with as many cells as there are headings; others are reported. `open_ended` is whether
/// blank cells at the end of a row are left out.
pub(super) fn complete_rows<'r>(
    rows: &[&'r GridRow],
    wide: usize,
    open_ended: bool,
    open: &mut Vec<String>,
) -> Vec<&'r GridRow> {
    let mut wrong: Vec<(usize, String)> = Vec::new();
    let mut complete = Vec::new();
    for row in rows {
        match misfit(row, wide, open_ended) {
            Some(why) => wrong.push((row.line, why)),
            None => complete.push(*row),
        }
    }
    for (line, why) in wrong.iter().take(3) {
        open.push(format!("line {line} was skipped; correct it: {why}"));
    }
    if wrong.len() > 3 {
        open.push(format!("{} more rows are incomplete", wrong.len() - 3));
    }
    complete
}

/// Why a row is not complete.
fn misfit(row: &GridRow, wide: usize, open_ended: bool) -> Option<String> {
    if let Some(flaw) = &row.flaw {
        let column =
            if row.flawed > 0 { format!("in column {}, ", row.flawed) } else { String::new() };
        return Some(format!("{column}{flaw}"));
    }
    let used =
        row.cells.iter().rposition(|cell| !cell.text.trim().is_empty()).map_or(0, |at| at + 1);
    let is_short = !open_ended && row.cells.len() < wide;
    let cells = if used > wide { used } else { row.cells.len() };
    (is_short || used > wide)
        .then(|| format!("it has {cells} cells, and there are {wide} headings"))
}

/// The columns with a heading of their own; others are reported.
pub(super) fn named_columns(headings: &[String], open: &mut Vec<String>) -> Vec<usize> {
    let mut found = Vec::new();
    for (cell, heading) in headings.iter().enumerate() {
        let earlier = headings[..cell].iter().position(|other| other == heading);
        match earlier {
            _ if heading.is_empty() => open.push(format!(
                "column {} has no heading, and layouts find columns by their headings; add one in the table, or remove the column",
                cell + 1
            )),
            Some(earlier) => open.push(format!(
                "columns {} and {} have the same heading {heading:?}; rename one in the table",
                earlier + 1,
                cell + 1
            )),
            None => found.push(cell),
        }
    }
    found
}
