//! From tables to a document. The rows of every table are read as JSON values. Then they are nested
//! in the rows that contain them, and the model validates the document. Each problem has its file,
//! line and column.

use std::borrow::Cow;
use std::collections::{BTreeMap, HashMap};

use obvert_model::read::{Problem, ProblemKind};

use super::loaded::{Loaded, RecordPlace};
use super::plan::{ORDER, Plan, Table, plan};
use super::sheet::Sheet;
use super::unknown_table::UnknownTable;
use super::{Record, Rows, cell};
use crate::{ConvertError, Location, PlacedProblem, Problems, SourceMap, Survey};

/// Reads the tables: for each table of the plan its rows, if it exists. `names` gives the name of
/// the file or sheet of a table in messages and locations.
///
/// # Errors
/// When the tables are inconsistent or do not describe a valid document.
pub(crate) fn read<R: Rows>(
    sources: Vec<Option<R>>,
    names: Names,
    unknown: &[UnknownTable],
) -> Result<Survey, ConvertError> {
    let plan = plan();
    let absent = plan.tables.iter().zip(&sources).filter(|(_, source)| source.is_none());
    let absent: Vec<(&'static Table, String)> =
        absent.map(|(table, _)| (table, names(table))).collect();
    let mut problems: Vec<PlacedProblem> =
        unknown.iter().map(|table| table.problem(&absent)).collect();
    let mut places = SourceMap::default();
    let mut open = Vec::new();
    for (table, source) in plan.tables.iter().zip(sources) {
        open.push(source.map(|rows| {
            let name = names(table);
            let file = (places.file(&name), name.as_str());
            (Sheet::new(table, file, &rows, &mut places, &mut problems), rows)
        }));
    }
    // Cells below an unknown heading would be misread. An additional column is skipped.
    let additional = |placed: &PlacedProblem| {
        placed.problem.kind == ProblemKind::UnknownKey && placed.problem.suggestion.is_none()
    };
    if !problems.iter().all(additional) {
        return Err(ConvertError::Structure(Problems::new(problems, None)));
    }
    let mut reader = Reader {
        plan,
        names,
        places,
        loads: Vec::new(),
        orphans: problems,
        missing: BTreeMap::new(),
    };
    for sheet in open {
        reader.load(sheet)?;
    }
    reader.finish()
}

/// The name of the file or sheet of a table.
pub(crate) type Names = fn(&Table) -> String;

/// An error at a line of a file.
pub(crate) fn format_error(file: &str, line: usize, message: impl Into<String>) -> ConvertError {
    let place = Location { file: file.to_owned(), line, column: None, heading: None };
    ConvertError::Format { place: Some(place), message: message.into() }
}

/// The tables of a survey while they are read.
pub(super) struct Reader {
    pub(super) plan: &'static Plan,
    pub(super) names: Names,
    pub(super) places: SourceMap,
    /// The tables that have been read.
    pub(super) loads: Vec<Loaded>,
    /// Rows that belong to no row, and other problems of tables.
    pub(super) orphans: Vec<PlacedProblem>,
    /// Rows whose parent is in a table without rows, by that table and their own: their number, and
    /// the location of the first.
    pub(super) missing: BTreeMap<(usize, usize), (usize, Location)>,
}

/// Why a row has no parent.
enum NoParent {
    /// A key column has an error: its index, and the message.
    Cell(usize, String),
    /// The table of its parent, or of one further up, has no rows; and the key column that names
    /// the parent.
    Missing(usize, usize),
    /// Its parent has no parent itself, which has been reported.
    Reported,
}

impl Reader {
    /// Reads the rows of the next table of the plan.
    fn load<R: Rows>(&mut self, open: Option<(Sheet, R)>) -> Result<(), ConvertError> {
        let index = self.loads.len();
        let table = &self.plan.tables[index];
        let order = open.as_ref().and_then(|(sheet, _)| sheet.order_at());
        let mut loaded = Loaded { order, exists: open.is_some(), ..Loaded::default() };
        if let Some(parent) = table.parent {
            loaded.index.resize_with(self.loads[parent].rows.len(), HashMap::new);
        }
        if let Some((sheet, mut records)) = open {
            let (mut number, mut last) = (0, None);
            while let Some((line, record)) = records.next_row()? {
                number += 1;
                let parent = self.parent_of(index, &sheet, (line, record), &mut last);
                let order = self.order_of(table, &sheet, (line, record));
                match (parent, order) {
                    (Some(parent), Some(order)) => {
                        let place = RecordPlace { line, number, parent, order };
                        loaded.add(table, &sheet, record, place);
                    }
                    _ => loaded.add_orphan(table, &sheet, record),
                }
            }
        }
        if index == 0 && loaded.rows.len() != 1 {
            let line = loaded.rows.get(1).map_or(1, |row| row.line);
            let found = loaded.rows.len();
            let message =
                format!("this table must have one row below the headings, and has {found}");
            return Err(format_error(&(self.names)(table), line, message));
        }
        self.loads.push(loaded);
        Ok(())
    }

    /// The row that contains the row of a record. `last` has the key cells of the record before it
    /// and the row that contains that one.
    fn parent_of(
        &mut self,
        index: usize,
        sheet: &Sheet,
        (line, record): (usize, &impl Record),
        last: &mut Option<(Vec<String>, usize)>,
    ) -> Option<usize> {
        if let Some((cells, row)) = last
            && sheet.keys(record).eq(cells.iter().map(String::as_str))
        {
            return Some(*row);
        }
        let table = &self.plan.tables[index];
        let cells: Vec<String> = sheet.keys(record).map(Cow::into_owned).collect();
        let column = |key: usize| (sheet.key(key), table.keys[key].heading.as_str());
        // If there is none, the next record with the same cells is reported as well.
        *last = None;
        match self.parent(table, &cells) {
            Ok(row) => {
                *last = Some((cells, row));
                return Some(row);
            }
            Err(NoParent::Cell(key, message)) => {
                self.report_orphan(table, line, column(key), message);
            }
            Err(NoParent::Missing(parent, key)) => {
                let place = self.place(table, line, column(key));
                self.missing.entry((parent, index)).or_insert((0, place)).0 += 1;
            }
            Err(NoParent::Reported) => {}
        }
        None
    }

    /// The position of a record in its list; `None` if it is wrong, which is reported.
    fn order_of(
        &mut self,
        table: &Table,
        sheet: &Sheet,
        (line, record): (usize, &impl Record),
    ) -> Option<u64> {
        match sheet.order(record) {
            Ok(order) => Some(order),
            Err(message) => {
                self.report_orphan(table, line, (sheet.order_at(), ORDER), message);
                None
            }
        }
    }

    /// The row that contains a row with these cells in its key columns.
    fn parent(&self, table: &Table, cells: &[String]) -> Result<usize, NoParent> {
        let mut tables = Vec::new();
        let mut above = table.parent;
        while let Some(index) = above.filter(|index| *index > 0) {
            tables.push(index);
            above = self.plan.tables[index].parent;
        }
        let mut row = 0;
        for (number, (cell, index)) in cells.iter().zip(tables.into_iter().rev()).enumerate() {
            let name = &table.keys[number].heading;
            if cell.is_empty() {
                let message = format!(
                    "the column {name:?} is empty; name the {name} that the row belongs to"
                );
                return Err(NoParent::Cell(number, message));
            }
            let parents = &self.loads[index];
            if parents.rows.is_empty() && !parents.has_orphans {
                return Err(NoParent::Missing(index, number));
            }
            let found = parents.index.get(row).and_then(|rows| rows.get(cell));
            row = match found {
                Some(found) => *found,
                None if parents.orphans.contains(cell) => return Err(NoParent::Reported),
                None => {
                    let message = self.no_row(table, cells, (index, number));
                    return Err(NoParent::Cell(number, message));
                }
            };
        }
        Ok(row)
    }

    /// Why the row in the key column `number` of a table does not exist in the table `index`.
    fn no_row(&self, table: &Table, cells: &[String], (index, number): (usize, usize)) -> String {
        let file = (self.names)(&self.plan.tables[index]);
        let (name, cell) = (&table.keys[number].heading, cell::show(&cells[number]));
        // Rows of different parents can have the same name.
        let above = number.checked_sub(1);
        let within = above.map_or_else(String::new, |above| {
            format!(" in {} {}", table.keys[above].heading, cell::show(&cells[above]))
        });
        format!("{file} has no {name} {cell}{within}; correct the {name} here, or add it there")
    }

    fn place(
        &self,
        table: &Table,
        line: usize,
        (column, heading): (Option<usize>, &str),
    ) -> Location {
        let column = column.map(|column| column + 1);
        Location { file: (self.names)(table), line, column, heading: Some(heading.to_owned()) }
    }

    /// Reports a row that belongs to no row, so that its pointer is not known.
    pub(super) fn report_orphan(
        &mut self,
        table: &Table,
        line: usize,
        column: (Option<usize>, &str),
        message: String,
    ) {
        let pointer: String = table.path.iter().map(|key| format!("/{key}/-")).collect();
        let place = Some(self.place(table, line, column));
        let kind = ProblemKind::OrphanRow;
        let problem = Problem::new(kind, pointer, message);
        self.orphans.push(PlacedProblem { place, problem });
    }
}
