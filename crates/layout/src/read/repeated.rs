//! Duplicate rows, which were probably pasted twice. A survey can have two equal rows, so they are
//! read anyway.

use std::collections::HashMap;
use std::hash::{Hash, Hasher};

use crate::grid::GridRow;

/// Consecutive rows that equal as many rows from an earlier one on.
struct Repeat {
    from: usize,
    of: usize,
    length: usize,
}

/// The note about duplicate rows.
pub(crate) fn rows(rows: &[GridRow]) -> Option<String> {
    let found = repeats(rows);
    let Repeat { from, of, length } = *found.first()?;
    let lines = |from: usize| match length {
        1 => format!("row {}", rows[from].line),
        _ => format!("rows {} to {}", rows[from].line, rows[from + length - 1].line),
    };
    let are = if length == 1 { "is a duplicate" } else { "are duplicates" };
    let more = match found.len() - 1 {
        0 => String::new(),
        1 => ", and there are duplicates at another place".to_owned(),
        more => format!(", and there are duplicates at {more} other places"),
    };
    // A single row can be two observations with equal values.
    let advice = if length == 1 && found.len() == 1 {
        "remove it if it was pasted twice"
    } else {
        "remove rows that were pasted twice"
    };
    Some(format!("{} {are} of {}{more}; {advice}", lines(from), lines(of)))
}

fn repeats(rows: &[GridRow]) -> Vec<Repeat> {
    let is_same = |one: usize, other: usize| texts(&rows[one]).eq(texts(&rows[other]));
    let mut first: HashMap<u64, usize> = HashMap::new();
    let mut found = Vec::new();
    let mut index = 0;
    while index < rows.len() {
        let of = *first.entry(digest(&rows[index])).or_insert(index);
        let longest = (index - of).min(rows.len() - index);
        let length = (0..longest).take_while(|step| is_same(of + step, index + step)).count();
        if length > 0 {
            found.push(Repeat { from: index, of, length });
        }
        index += length.max(1);
    }
    found
}

fn texts(row: &GridRow) -> impl Iterator<Item = &str> {
    row.cells.iter().map(|cell| cell.text.trim())
}

fn digest(row: &GridRow) -> u64 {
    let mut hasher = std::hash::DefaultHasher::new();
    texts(row).for_each(|text| text.hash(&mut hasher));
    hasher.finish()
}
