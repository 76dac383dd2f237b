//! Blank cells of pipes, runs and the document in some of their rows: the value of the other rows
//! counts for all, which is reported, since the blank may be meant.

use std::collections::{BTreeMap, HashMap};

use obvert_model::layout::Record;

use crate::grid::GridRow;
use crate::plan::ColumnBinding;

/// How many rows of each record have a value, by column.
#[derive(Default)]
pub(super) struct Blanks(HashMap<(Record, usize), Filled>);

#[derive(Default)]
struct Filled {
    rows: u32,
    columns: Vec<u32>,
}

/// The blank cells of a column.
struct Blank {
    cells: u32,
    /// The record with the first of them.
    record: Record,
    place: usize,
}

impl Blanks {
    /// Adds a row of a record.
    pub(super) fn add(
        &mut self,
        record: Record,
        place: usize,
        row: &GridRow,
        columns: &[Option<ColumnBinding<'_>>],
    ) {
        let filled = self.0.entry((record, place)).or_default();
        filled.rows += 1;
        filled.columns.resize(columns.len(), 0);
        let cells = row.cells.iter().zip(columns).zip(&mut filled.columns);
        for ((cell, column), count) in cells {
            let of_record = column.as_ref().and_then(|column| column.target());
            let of_record = of_record.is_some_and(|target| target.record() == record);
            *count += u32::from(of_record && !cell.text.trim().is_empty());
        }
    }

    /// What to report, by column; `name` gives the name of a record.
    pub(super) fn notes(
        &self,
        headings: &[String],
        name: impl Fn(Record, usize) -> String,
    ) -> Vec<String> {
        let mut found: BTreeMap<usize, Blank> = BTreeMap::new();
        let mut all: Vec<_> = self.0.iter().collect();
        all.sort_by_key(|((record, place), _)| (*record, *place));
        for ((record, place), Filled { rows, columns }) in all {
            for (column, filled) in columns.iter().enumerate().filter(|(_, filled)| **filled > 0) {
                let cells = rows - filled;
                if cells > 0 {
                    let blank = Blank { cells: 0, record: *record, place: *place };
                    found.entry(column).or_insert(blank).cells += cells;
                }
            }
        }
        let notes = found.into_iter().map(|(column, Blank { cells, record, place })| {
            let heading = headings.get(column).map_or("", String::as_str).replace('\n', " ");
            let rows = if cells == 1 { "1 row".to_owned() } else { format!("{cells} rows") };
            let first = if cells == 1 { "" } else { "first " };
            format!(
                "the column {heading:?} is blank in {rows} although other rows of the same {} have a value, {first}of {}; that value counts for \
                 all its rows",
                record.name(),
                name(record, place)
            )
        });
        notes.collect()
    }
}
