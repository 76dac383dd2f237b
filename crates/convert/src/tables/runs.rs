//! Runs from tables whose rows are in the order of the runs that they belong to, as all writers
//! leave them. Only one row of each table is then in memory. A first pass, over the columns that
//! name the rows, finds out whether they are in order.

use std::borrow::Cow;

use obvert_model::tables::Head;
use serde_json::Value;

use super::assemble::Names;
use super::nest::list;
use super::plan::{Plan, plan};
use super::sheet::Sheet;
use super::{Record, Rows};
use crate::runs::{RunValues, TypedRuns};
use crate::source::Locations;
use crate::{ConvertError, Location, SourceMap};

/// Whether the rows of all tables are in the order of the runs, and all headings are known.
pub(super) fn in_order<R: Rows>(tables: Vec<Option<R>>, names: Names) -> bool {
    let walk = || -> Result<bool, Stop> {
        let mut rows = Merge::<R, Keys>::new(tables, names, Locations::Skipped)?;
        rows.take(0, &[], "")?;
        let runs = rows.plan.runs();
        while rows.is_waiting(runs) {
            rows.take(runs, &[], "")?;
        }
        Ok(rows.is_over())
    };
    walk().is_ok_and(|over| over)
}

/// The runs of tables that are [in order](in_order). Reads the head.
pub(super) fn runs<R: Rows>(
    tables: Vec<Option<R>>,
    names: Names,
    locations: Locations,
) -> Result<TypedRuns<TableRuns<R>>, ConvertError> {
    let mut rows = Merge::new(tables, names, locations)?;
    let location = rows.location(0);
    let head = rows.take(0, &[], "")?;
    match Head::deserialize(head) {
        Ok(head) => Ok(TypedRuns::new(TableRuns { rows, location: None }, head)),
        Err(error) => Err(ConvertError::invalid(location, error.to_string())),
    }
}

/// The runs of tables that are [in order](in_order), as values.
pub(super) struct TableRuns<R> {
    rows: Merge<R, Values>,
    /// The location of the run that was read last.
    location: Option<Location>,
}

impl<R: Rows> RunValues for TableRuns<R> {
    fn next_value(&mut self, pointer: &str) -> Result<Option<Value>, ConvertError> {
        let index = self.rows.plan.runs();
        if !self.rows.is_waiting(index) {
            return if self.rows.is_over() { Ok(None) } else { Err(Stop::Order.into()) };
        }
        self.location = self.rows.location(index);
        Ok(Some(self.rows.take(index, &[], pointer)?))
    }

    fn location(&mut self) -> Option<Location> {
        self.location.take()
    }

    fn into_locations(self) -> Option<SourceMap> {
        self.rows.places.map(|(places, _)| places)
    }
}

/// What is read from a row.
trait Take {
    type Value;
    fn of(sheet: &Sheet, record: &impl Record) -> Result<Self::Value, Stop>;
    /// Adds a row to the list of the row that contains it.
    fn put(holder: &mut Self::Value, below: &[String], row: Self::Value);
}

/// Only the row that this row belongs to.
struct Keys;

impl Take for Keys {
    type Value = ();
    fn of(_: &Sheet, _: &impl Record) -> Result<(), Stop> {
        Ok(())
    }
    fn put((): &mut (), _: &[String], (): ()) {}
}

/// The values of the row.
struct Values;

impl Take for Values {
    type Value = Value;
    fn of(sheet: &Sheet, record: &impl Record) -> Result<Value, Stop> {
        let (value, faults) = sheet.row(record);
        match faults.into_iter().next() {
            None => Ok(value),
            Some(fault) => Err(Stop::Cell {
                column: fault.column,
                heading: fault.heading,
                message: fault.message,
            }),
        }
    }
    fn put(holder: &mut Value, below: &[String], row: Value) {
        if let Some(list) = list(holder, below) {
            list.push(row);
        }
    }
}

/// Why reading stops.
enum Stop {
    /// The rows are in another order, or a row belongs to no other row.
    Order,
    /// A cell has an error.
    Cell { column: usize, heading: String, message: String },
    /// A table cannot be read.
    Error(ConvertError),
}

impl From<ConvertError> for Stop {
    fn from(error: ConvertError) -> Self {
        Self::Error(error)
    }
}

impl From<Stop> for ConvertError {
    fn from(stop: Stop) -> Self {
        match stop {
            Stop::Order => Self::invalid(
                None,
                "rows are not in the order of the runs that they belong to; sort them",
            ),
            Stop::Cell { message, .. } => Self::invalid(None, message),
            Stop::Error(error) => error,
        }
    }
}

/// A table that is being read, and its next row.
struct Cursor<R, V> {
    sheet: Sheet,
    rows: R,
    next: Option<Next<V>>,
}

struct Next<V> {
    line: usize,
    /// The names of the rows that contain it.
    keys: Vec<String>,
    /// Its own name, in the rows that it contains.
    own: String,
    order: u64,
    value: V,
}

/// The rows of all tables, merged by the rows that they belong to.
struct Merge<R, T: Take> {
    plan: &'static Plan,
    names: Names,
    cursors: Vec<Option<Cursor<R, T::Value>>>,
    /// The locations of rows, and the file number of each table, if they are kept.
    places: Option<(SourceMap, Vec<u32>)>,
}

impl<R: Rows, T: Take> Merge<R, T> {
    fn new(tables: Vec<Option<R>>, names: Names, locations: Locations) -> Result<Self, Stop> {
        let plan = plan();
        let (mut places, mut files, mut cursors) = (SourceMap::default(), Vec::new(), Vec::new());
        for (table, rows) in plan.tables.iter().zip(tables) {
            let name = names(table);
            let file = places.file(&name);
            files.push(file);
            let Some(rows) = rows else {
                cursors.push(None);
                continue;
            };
            let mut problems = Vec::new();
            let sheet = Sheet::new(table, (file, &name), &rows, &mut places, &mut problems);
            if !problems.is_empty() {
                return Err(Stop::Order);
            }
            cursors.push(Some(Cursor { sheet, rows, next: None }));
        }
        let places = (locations == Locations::Kept).then_some((places, files));
        let mut merge = Self { plan, names, cursors, places };
        for index in 0..plan.tables.len() {
            merge.advance(index)?;
        }
        Ok(merge)
    }

    fn next(&self, index: usize) -> Option<&Next<T::Value>> {
        self.cursors[index].as_ref()?.next.as_ref()
    }

    /// Whether a table has another row.
    fn is_waiting(&self, index: usize) -> bool {
        self.next(index).is_some()
    }

    /// Whether all rows have been taken.
    fn is_over(&self) -> bool {
        (0..self.cursors.len()).all(|index| !self.is_waiting(index))
    }

    /// The location of the next row of a table.
    fn location(&self, index: usize) -> Option<Location> {
        let line = self.next(index)?.line;
        Some(Location {
            file: (self.names)(&self.plan.tables[index]),
            line,
            column: None,
            heading: None,
        })
    }

    /// Reads the next row of a table.
    fn advance(&mut self, index: usize) -> Result<(), Stop> {
        let table = &self.plan.tables[index];
        let Some(Cursor { sheet, rows, next }) = &mut self.cursors[index] else { return Ok(()) };
        let Some((line, record)) = rows.next_row()? else {
            *next = None;
            return Ok(());
        };
        let value = T::of(sheet, record).map_err(|stop| match stop {
            Stop::Cell { column, heading, message } => {
                let column = Some(column).filter(|column| *column > 0);
                let file = (self.names)(table);
                ConvertError::invalid(
                    Some(Location { file, line, column, heading: Some(heading) }),
                    message,
                )
                .into()
            }
            other => other,
        })?;
        let keys: Vec<String> = sheet.keys(record).map(Cow::into_owned).collect();
        let order = sheet.order(record).map_err(|_| Stop::Order)?;
        let own = if table.ordered {
            order.to_string()
        } else {
            sheet.id(record).map(Cow::into_owned).unwrap_or_default()
        };
        *next = Some(Next { line, keys, own, order, value });
        Ok(())
    }

    /// Takes the next row of a table, with all rows that belong to it. `pointer` is its location in
    /// the document.
    fn take(&mut self, index: usize, above: &[String], pointer: &str) -> Result<T::Value, Stop> {
        let plan = self.plan;
        let next = self.cursors[index]
            .as_mut()
            .and_then(|cursor| cursor.next.take())
            .ok_or(Stop::Order)?;
        let Next { line, own, mut value, .. } = next;
        if let Some((places, files)) = &mut self.places {
            places.record(pointer, files[index], line, 0);
        }
        self.advance(index)?;
        let mut path = above.to_vec();
        if plan.tables[index].parent.is_some() {
            path.push(own);
        }
        for child in plan.below(index).filter(|child| *child != plan.runs()) {
            let below = &plan.tables[child].below;
            let (mut last, mut count) = (0, 0);
            while let Some(next) = self.next(child).filter(|next| next.keys == path) {
                if plan.tables[child].ordered
                    && next.order <= std::mem::replace(&mut last, next.order)
                {
                    return Err(Stop::Order);
                }
                let place = match self.places {
                    Some(_) => format!("{pointer}/{}/{count}", below.join("/")),
                    None => String::new(),
                };
                let row = self.take(child, &path, &place)?;
                count += 1;
                T::put(&mut value, below, row);
            }
        }
        Ok(value)
    }
}
