//! The headings of a table, held against the columns of its layout, and rows that stand in it twice.

use std::collections::HashMap;
use std::hash::{Hash, Hasher};

use obvert_model::edit::token;
use obvert_model::read::ProblemKind;
use obvert_model::text::nearest;

use super::grid::{Grid, GridRow, Spot};
use super::read::Reader;
use super::row::Way;

/// What to say of rows that stand in a table twice, cell by cell: they were pasted twice, most likely. A survey can have
/// two rows alike, so they are read all the same.
pub(super) fn repeated(grid: &Grid) -> Option<String> {
    fn texts(row: &GridRow) -> impl Iterator<Item = &str> {
        row.cells.iter().map(|cell| cell.text.trim())
    }
    let rows = &grid.rows;
    let same = |one: usize, other: usize| texts(&rows[one]).eq(texts(&rows[other]));
    let digest = |row: &GridRow| {
        let mut hasher = std::hash::DefaultHasher::new();
        texts(row).for_each(|text| text.hash(&mut hasher));
        hasher.finish()
    };
    let mut first: HashMap<u64, usize> = HashMap::new();
    let mut found: Vec<(usize, usize, usize)> = Vec::new();
    let mut index = 0;
    while index < rows.len() {
        let of = *first.entry(digest(&rows[index])).or_insert(index);
        let length =
            (0..index - of).take_while(|step| index + step < rows.len() && same(of + step, index + step)).count();
        if length > 0 {
            found.push((index, of, length));
        }
        index += length.max(1);
    }
    let (from, of, length) = *found.first()?;
    let lines = |from: usize| match length {
        1 => format!("row {}", rows[from].line),
        _ => format!("rows {} to {}", rows[from].line, rows[from + length - 1].line),
    };
    let say = if length == 1 { "says" } else { "say" };
    let more = match found.len() - 1 {
        0 => String::new(),
        1 => ", and at another place rows repeat earlier ones as well".to_owned(),
        more => format!(", and at {more} other places rows repeat earlier ones as well"),
    };
    // One row may be two things alike.
    let advice = if length == 1 && found.len() == 1 {
        "take it out if it was pasted twice"
    } else {
        "take out what was pasted twice"
    };
    Some(format!("{} {say} the same as {}, cell by cell{more}; {advice}", lines(from), lines(of)))
}

impl<'l> Reader<'l> {
    /// The column of the layout for each heading of the file.
    pub(super) fn columns(&mut self, grid: &Grid) -> Vec<Option<Way<'l>>> {
        let headings = &grid.headings;
        self.headings = headings.clone();
        let layout = self.layout;
        let mut ways: Vec<Option<Way<'_>>> = Vec::new();
        let written = layout.xml.is_none();
        // In XML every path of the layout is a heading, whether anything has it or not.
        let has = |heading: &str| {
            let mut at = headings.iter().enumerate().filter(|(_, own)| **own == *heading);
            at.any(|(index, _)| {
                written || grid.rows.iter().any(|row| row.cells.get(index).is_some_and(|cell| !cell.text.is_empty()))
            })
        };
        let mut meant: Vec<&str> = Vec::new();
        for (index, heading) in headings.iter().enumerate() {
            if written {
                self.places.column(self.file, index + 1, &heading.replace('\n', " "));
            }
            let spot = match grid.heading_line {
                // Where headings are paths, the first value under one shows where it is.
                0 => {
                    let cell = grid.rows.iter().filter_map(|row| row.cells.get(index));
                    let first = cell.into_iter().find(|cell| !cell.text.is_empty());
                    first.map_or(Spot::default(), |cell| Spot {
                        line: cell.line,
                        column: cell.column,
                        heading: index + 1,
                    })
                }
                line => Spot { line, column: index + 1, heading: index + 1 },
            };
            let column = layout.columns.iter().find(|column| *column.heading == **heading);
            if column.is_none() {
                let missing = layout.columns.iter().map(|column| column.heading.as_str()).filter(|known| !has(known));
                let near = nearest(heading, missing);
                meant.extend(near);
                let advice = match near {
                    Some(near) => format!(
                        "did you mean {:?}, which the {} does not have?",
                        near.replace('\n', " "),
                        if written { "table" } else { "file" }
                    ),
                    None => "add it there, with drop if it has no place".to_owned(),
                };
                let heading = heading.replace('\n', " ");
                // What stands beside the columns of the layout is missed nowhere, so that the rest can be judged.
                let pointer = match near {
                    Some(_) => String::new(),
                    None => format!("/-/{}", token(&heading)),
                };
                let message = format!("the layout {} has no column {heading:?}; {advice}", layout.id);
                self.problem(ProblemKind::UnknownKey, spot, &pointer, message);
            } else if headings[..index].contains(heading) {
                let message =
                    format!("the heading {heading:?} stands twice, so that nobody can tell the two apart; rename one");
                self.problem(ProblemKind::DuplicateKey, spot, "", message);
            }
            ways.push(column.map(|column| Way::of(column, layout)));
        }
        // An attribute or element that stands nowhere is a value that is absent everywhere.
        for column in layout.columns.iter().filter(|_| written) {
            // One that is written in another way has been told of.
            let told = meant.contains(&&*column.heading);
            if !told && !headings.iter().any(|heading| **heading == *column.heading) {
                let others = headings.iter().filter(|own| !layout.columns.iter().any(|known| *known.heading == ***own));
                let near = nearest(&column.heading, others.map(String::as_str));
                let near = near.map(|near| {
                    format!("; did you mean {:?}, which the layout does not have?", near.replace('\n', " "))
                });
                let message = format!(
                    "the table has no column {:?}, which the layout {} describes{}",
                    column.heading.replace('\n', " "),
                    layout.id,
                    near.unwrap_or_default()
                );
                self.problem(ProblemKind::MissingKey, Spot::line(grid.heading_line), "", message);
            }
        }
        ways
    }
}
