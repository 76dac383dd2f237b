//! Where the headings of a table are, and which of its rows are whole.

use std::collections::BTreeMap;

use super::vocabulary;
use crate::grid::{GridRow, headings};

/// Headings below this row are none.
const DEEPEST: usize = 40;

/// How many cells most rows have.
pub(super) fn usual_width(rows: &[GridRow]) -> usize {
    let mut often: BTreeMap<usize, usize> = BTreeMap::new();
    rows.iter()
        .filter(|row| !row.is_blank())
        .for_each(|row| *often.entry(row.cells.len()).or_default() += 1);
    often.into_iter().max_by_key(|(wide, times)| (*times, *wide)).map_or(0, |(wide, _)| wide)
}

/// How many rows have so many cells.
pub(super) fn count_of_width(rows: &[GridRow], wide: usize) -> usize {
    rows.iter().filter(|row| row.cells.len() == wide).count()
}

/// The rows that headings are in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct HeadingRows {
    /// The first of them, from 0.
    pub(super) first: usize,
    /// How many they are.
    pub(super) deep: usize,
}

impl HeadingRows {
    /// The first row that fills more than half of a row and has no value in it, with the row below
    /// or above it where that belongs to it. `None` where no row is one.
    pub(super) fn find(rows: &[GridRow], wide: usize) -> Option<Self> {
        let first = rows
            .iter()
            .take(DEEPEST)
            .position(|row| filled(row) > 1 && filled(row) * 2 > wide && !has_values(row))?;
        let here = rows.get(first)?;
        // Merged cells leave gaps, and what they head is below, in a row without numbers above one
        // with some.
        let is_merged = filled(here) < wide
            && rows.get(first + 1).is_some_and(|row| !has_values(row) && filled(row) > 0)
            && rows.get(first + 2).is_some_and(has_values);
        if is_merged {
            return Some(Self { first, deep: 2 });
        }
        // Or what they head is here, and is told apart by the cells above alone.
        let above = first.checked_sub(1).and_then(|above| Some((above, rows.get(above)?)));
        match above.filter(|(_, row)| is_unclear(here) && has_groups(row)) {
            Some((above, _)) => Some(Self { first: above, deep: 2 }),
            None => Some(Self { first, deep: 1 }),
        }
    }

    /// The row below them.
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

/// Whether a row has a cell that no heading is: it has digits and no letters.
fn has_values(row: &GridRow) -> bool {
    let is_value = |text: &str| {
        text.contains(|letter: char| letter.is_ascii_digit()) && !text.contains(char::is_alphabetic)
    };
    row.cells.iter().any(|cell| is_value(&cell.text))
}

/// Whether some headings of a row say nothing by themselves, or the same.
fn is_unclear(row: &GridRow) -> bool {
    let words = row.cells.iter().map(|cell| vocabulary::words(&cell.text));
    let named: Vec<Vec<String>> = words.filter(|words| !words.is_empty()).collect();
    named
        .iter()
        .enumerate()
        .any(|(index, own)| vocabulary::is_bare(own) || named[..index].contains(own))
}

/// Whether a row heads groups of columns. A title is in the first cell alone.
fn has_groups(row: &GridRow) -> bool {
    let begins = row.cells.first().is_some_and(|cell| !cell.text.trim().is_empty());
    filled(row) > usize::from(begins) && !has_values(row)
}

/// The rows that have as many cells as there are headings; the others are reported. `open_ended`
/// says whether blank cells at the end of a row are left out.
pub(super) fn whole_rows<'r>(
    rows: &[&'r GridRow],
    wide: usize,
    open_ended: bool,
    open: &mut Vec<String>,
) -> Vec<&'r GridRow> {
    let mut wrong: Vec<(usize, String)> = Vec::new();
    let mut whole = Vec::new();
    for row in rows {
        match misfit(row, wide, open_ended) {
            Some(why) => wrong.push((row.line, why)),
            None => whole.push(*row),
        }
    }
    for (line, why) in wrong.iter().take(3) {
        open.push(format!(
            "line {line} was skipped, and cannot be read until it is corrected: {why}"
        ));
    }
    if wrong.len() > 3 {
        open.push(format!("{} further rows are incomplete as well", wrong.len() - 3));
    }
    whole
}

/// Why a row is no whole row.
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
    (is_short || used > wide).then(|| format!("it has {cells} cells but there are {wide} headings"))
}

/// The columns that have a heading of their own; the others are reported.
pub(super) fn named_columns(headings: &[String], open: &mut Vec<String>) -> Vec<usize> {
    let mut found = Vec::new();
    for (cell, heading) in headings.iter().enumerate() {
        let earlier = headings[..cell].iter().position(|other| other == heading);
        match earlier {
            _ if heading.is_empty() => open.push(format!(
                "column {} has no heading, and a layout finds columns by their headings; add one in the table, or remove the column",
                cell + 1
            )),
            Some(earlier) => open.push(format!(
                "{heading:?} heads columns {} and {}; rename one in the table",
                earlier + 1,
                cell + 1
            )),
            None => found.push(cell),
        }
    }
    found
}
