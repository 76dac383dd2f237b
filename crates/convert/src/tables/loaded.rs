//! The rows of one table, in memory.

use std::borrow::Cow;
use std::collections::{HashMap, HashSet};

use obvert_model::read::ProblemKind;
use serde_json::Value;

use super::Record;
use super::plan::Table;
use super::sheet::Sheet;

/// The rows that have been read of a table.
#[derive(Default)]
pub(super) struct Loaded {
    pub(super) rows: Vec<Row>,
    /// For each row of the parent table, the rows by their id or order.
    pub(super) index: Vec<HashMap<String, usize>>,
    /// The errors in cells, with the index of the row.
    pub(super) faults: Vec<(usize, Fault)>,
    /// The ids of rows without a parent, so that the rows below them are not reported as well.
    pub(super) orphans: HashSet<String>,
    /// The index of the column that orders the rows.
    pub(super) order: Option<usize>,
    /// Whether its file or sheet exists.
    pub(super) exists: bool,
    /// Whether some of its rows have no parent.
    pub(super) has_orphans: bool,
    /// Rows that repeat other rows; consecutive ones together.
    pub(super) duplicates: Vec<Duplicates>,
}

/// A row that was read.
pub(super) struct Row {
    pub(super) line: usize,
    /// The index of the row that contains it, in the parent table.
    pub(super) parent: usize,
    /// Its position in its list; 0 if the order of the file counts.
    pub(super) order: u64,
    pub(super) value: Value,
}

/// Consecutive rows that repeat rows above them, cell by cell.
pub(super) struct Duplicates {
    /// The index of the first of the rows above.
    pub(super) of: usize,
    /// The number of rows.
    pub(super) rows: usize,
    /// The lines of the first and the last row.
    pub(super) lines: (usize, usize),
    /// The number of the last record, from 1.
    last: usize,
}

/// An error in a cell.
pub(super) struct Fault {
    pub(super) kind: ProblemKind,
    /// From the row to the value, as the end of a JSON Pointer.
    pub(super) below: String,
    /// The number of the column, from 1; 0 if the column is missing.
    pub(super) column: usize,
    pub(super) heading: String,
    pub(super) message: String,
}

/// Where a record is: its line, its number in the file from 1, the row that contains it, and its
/// position in its list.
#[derive(Clone, Copy)]
pub(super) struct RecordPlace {
    pub(super) line: usize,
    pub(super) number: usize,
    pub(super) parent: usize,
    pub(super) order: u64,
}

impl Loaded {
    /// Adds a record as a row, or as the duplicate of one.
    pub(super) fn add(
        &mut self,
        table: &Table,
        sheet: &Sheet,
        record: &impl Record,
        place: RecordPlace,
    ) {
        let RecordPlace { line, number, parent, order } = place;
        let row = self.rows.len();
        let (value, faults) = sheet.row(record);
        let own = match table.ordered {
            true => Some(order.to_string()),
            false => sheet.id(record).map(Cow::into_owned),
        };
        let known = own.as_ref().and_then(|own| self.index.get(parent)?.get(own).copied());
        if let Some(of) = known.filter(|of| self.rows[*of].value == value) {
            self.add_duplicate(of, line, number);
            return;
        }
        self.faults.extend(faults.into_iter().map(|fault| (row, fault)));
        if let (Some(own), Some(rows)) = (own, self.index.get_mut(parent)) {
            // Of two rows with one id the first counts; the model reports the other.
            rows.entry(own).or_insert(row);
        }
        self.rows.push(Row { line, parent, order, value });
    }

    /// Adds a record that belongs to no row.
    pub(super) fn add_orphan(&mut self, table: &Table, sheet: &Sheet, record: &impl Record) {
        self.has_orphans = true;
        if let Some(id) = sheet.id(record).filter(|_| table.parent.is_some()) {
            self.orphans.insert(id.into_owned());
        }
    }

    /// Records that the record with a number, in a line, repeats a row.
    fn add_duplicate(&mut self, of: usize, line: usize, number: usize) {
        match self.duplicates.last_mut() {
            Some(last) if last.last + 1 == number && last.of + last.rows == of => {
                last.rows += 1;
                last.lines.1 = line;
                last.last = number;
            }
            _ => {
                self.duplicates.push(Duplicates { of, rows: 1, lines: (line, line), last: number })
            }
        }
    }
}
