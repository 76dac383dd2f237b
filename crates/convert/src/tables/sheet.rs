//! One table as it was read: the order of its columns, and the values of its rows. An error in a
//! cell is recorded and reading continues, so that one pass finds all errors.

use std::borrow::Cow;
use std::collections::HashMap;

use obvert_model::edit::token;
use obvert_model::read::{Problem, ProblemKind};
use obvert_model::synonyms::nearest_key;
use serde_json::{Map, Value};

use super::cell::{self, Cell, CellError};
use super::loaded::Fault;
use super::plan::{Column, ID, Kind, ORDER, Table};
use super::{Record, Rows};
use crate::{Location, PlacedProblem, SourceMap};

/// The problems of the headings of a file.
struct HeadingReport<'r> {
    table: &'static Table,
    name: &'r str,
    /// Whether the file has every column of the format.
    is_complete: bool,
    problems: &'r mut Vec<PlacedProblem>,
}

impl HeadingReport<'_> {
    fn unknown(&mut self, number: usize, heading: &str, suggestion: Option<&str>) {
        let message = match heading {
            "" => "a column has values and no heading; remove it or add a heading".to_owned(),
            _ => format!(
                "unknown column {heading:?}; put your own data into \"extensions\", as JSON"
            ),
        };
        let row = if self.is_complete { "/-".to_owned() } else { self.pointer("/-") };
        let pointer = format!("{row}/{}", token(heading));
        let suggestion = suggestion.map(str::to_owned);
        let problem = Problem::new(ProblemKind::UnknownKey, pointer, message);
        self.add(Some((number, heading)), Problem { suggestion, ..problem });
    }

    fn duplicate(&mut self, number: usize, heading: &str) {
        let message = format!("the column {heading:?} is duplicated; keep one");
        let problem = Problem::new(ProblemKind::DuplicateKey, self.pointer(""), message);
        self.add(Some((number, heading)), problem);
    }

    fn missing(&mut self, heading: &str) {
        let message = format!("the required column {heading:?} is missing; add it");
        self.add(None, Problem::new(ProblemKind::MissingKey, self.pointer(""), message));
    }

    /// The pointer of the table; `rows` replaces the index of a row.
    fn pointer(&self, rows: &str) -> String {
        self.table.path.iter().fold(String::new(), |path, key| format!("{path}/{key}{rows}"))
    }

    fn add(&mut self, column: Option<(usize, &str)>, problem: Problem) {
        let (number, heading) = column.unzip();
        let heading = heading.filter(|heading| !heading.is_empty()).map(str::to_owned);
        let column = number.map(|number| number + 1);
        let place = Location { file: self.name.to_owned(), line: 1, column, heading };
        self.problems.push(PlacedProblem { place: Some(place), problem });
    }
}

/// The columns of a file.
pub(crate) struct Sheet {
    table: &'static Table,
    keys: Vec<usize>,
    order: Option<usize>,
    /// For each column of the table, its index in the file.
    columns: Vec<Option<usize>>,
}

impl Sheet {
    /// Reads the headings of a file, and adds problems to `problems`. The pointer of an unknown
    /// column is that of a field of any row (`/pipes/-/colour`). If the file has every column of
    /// the format, so that the unknown column cannot be a misspelling of one of those, it is the
    /// pointer of no row (`/-/colour`).
    pub(crate) fn new(
        table: &'static Table,
        (file, name): (u32, &str),
        records: &impl Rows,
        places: &mut SourceMap,
        problems: &mut Vec<PlacedProblem>,
    ) -> Self {
        let mut found: HashMap<&str, usize> = HashMap::new();
        for (number, heading) in records.headings().enumerate() {
            if !records.is_blank(number) && table.headings().any(|known| known == heading) {
                found.entry(heading).or_insert(number);
            }
        }
        let is_complete = table.headings().all(|known| found.contains_key(known));
        let mut report = HeadingReport { table, name, is_complete, problems };
        for (number, heading) in records.headings().enumerate() {
            if records.is_blank(number) {
                continue;
            }
            if !table.headings().any(|known| known == heading) {
                let missing = table.headings().filter(|known| !found.contains_key(known));
                let missing: Vec<&str> = missing.collect();
                let near = nearest_key(&table.path.join("."), heading, &missing);
                report.unknown(number, heading, near);
            } else if found.get(heading) != Some(&number) {
                report.duplicate(number, heading);
            }
        }
        let keys =
            table.keys.iter().map(|key| key.heading.as_str()).chain(table.ordered.then_some(ORDER));
        let required = table.columns.iter().filter(|column| column.required);
        let required = keys.chain(required.map(|column| column.heading.as_str()));
        for heading in required.filter(|heading| !found.contains_key(heading)) {
            report.missing(heading);
        }
        let sheet = Self {
            table,
            keys: table
                .keys
                .iter()
                .filter_map(|key| found.get(key.heading.as_str()).copied())
                .collect(),
            order: found.get(ORDER).copied().filter(|_| table.ordered),
            columns: table
                .columns
                .iter()
                .map(|column| found.get(column.heading.as_str()).copied())
                .collect(),
        };
        sheet.place(file, places);
        sheet
    }

    /// Records the columns of the values in a row; the column of an object is that of its first
    /// value.
    fn place(&self, file: u32, places: &mut SourceMap) {
        let mut named = Vec::new();
        for (column, number) in self.present() {
            let mut pointer = String::new();
            let axis = column.axis.map(|axis| axis.to_string());
            for key in column.keys.iter().map(String::as_str).chain(axis.as_deref()) {
                pointer = format!("{pointer}/{key}");
                if !named.contains(&pointer) {
                    places.heading(file, &pointer, number + 1, &column.heading);
                    named.push(pointer.clone());
                }
            }
        }
    }

    fn present(&self) -> impl Iterator<Item = (&'static Column, usize)> {
        self.table
            .columns
            .iter()
            .zip(&self.columns)
            .filter_map(|(column, number)| Some((column, (*number)?)))
    }

    /// The cells that name the row that contains this one, as text.
    pub(crate) fn keys<'r>(
        &'r self,
        record: &'r impl Record,
    ) -> impl Iterator<Item = Cow<'r, str>> {
        self.keys.iter().map(|number| record.name(*number))
    }

    /// The index of a key column in the file.
    pub(crate) fn key(&self, number: usize) -> Option<usize> {
        self.keys.get(number).copied()
    }

    /// The index of the column that orders the rows.
    pub(crate) const fn order_at(&self) -> Option<usize> {
        self.order
    }

    /// The id of a row.
    pub(crate) fn id<'r>(&self, record: &'r impl Record) -> Option<Cow<'r, str>> {
        let number = self.present().find(|(column, _)| column.heading == ID)?.1;
        Some(record.name(number))
    }

    /// The position of a row in its list; 0 if the order of the file counts.
    pub(crate) fn order(&self, record: &impl Record) -> Result<u64, String> {
        let Some(number) = self.order else { return Ok(0) };
        let text = &*record.shown(number);
        let number = cell::number(text).ok();
        match number.and_then(|order| order.as_f64().and_then(cell::number_of)?.as_u64()) {
            Some(order) if order > 0 => Ok(order),
            _ => Err(format!(
                "the column {ORDER:?} has {}; write a whole number from 1",
                cell::show(text)
            )),
        }
    }

    /// The values of a row, and the errors in its cells.
    pub(crate) fn row(&self, record: &impl Record) -> (Value, Vec<Fault>) {
        let mut row = Value::Object(Map::new());
        let mut faults = Vec::new();
        let mut halves: Vec<(&'static Column, Value)> = Vec::new();
        for (column, number) in self.present() {
            let read = match record.cell(number, column) {
                Ok(Cell::Empty) => continue,
                Ok(cell) => cell::read(&cell, &column.kind),
                Err(error) => Err(error),
            };
            let value = match read {
                Ok(Some(value)) if self.too_deep(column, &value) => {
                    let message =
                        "the extensions are nested too deep for a JSON reader; nest them less"
                            .to_owned();
                    faults.push(fault(
                        ProblemKind::TextForm,
                        column,
                        pointer(column),
                        Some(number),
                        message,
                    ));
                    continue;
                }
                Ok(Some(value)) => value,
                Ok(None) => {
                    object(&mut row, &column.keys[..column.keys.len() - 1]);
                    continue;
                }
                Err(error) => {
                    let (kind, message) = match error {
                        CellError::Kind(message) => (ProblemKind::WrongType, message),
                        CellError::Json(message) => (ProblemKind::TextForm, message),
                    };
                    faults.push(fault(kind, column, pointer(column), Some(number), message));
                    // The text is used as the value, so that it is not reported as missing too.
                    if matches!(column.kind, Kind::Extensions | Kind::Json) {
                        continue;
                    }
                    Value::String(record.shown(number).into_owned())
                }
            };
            if column.axis.is_some() {
                halves.push((column, value));
            } else if let Some((last, above)) = column.keys.split_last()
                && let Some(object) = object(&mut row, above)
            {
                object.insert(last.clone(), value);
            }
        }
        self.positions(&mut row, halves, &mut faults);
        self.missing(&row, &mut faults);
        (row, faults)
    }

    /// Whether the document with this value would be nested deeper than its JSON reader allows.
    fn too_deep(&self, column: &Column, value: &Value) -> bool {
        const DEEPEST: usize = 127;
        fn depth(value: &Value) -> usize {
            match value {
                Value::Array(items) => 1 + items.iter().map(depth).max().unwrap_or_default(),
                Value::Object(entries) => 1 + entries.values().map(depth).max().unwrap_or_default(),
                _ => 0,
            }
        }
        let lists = self.table.parent.map_or(0, |_| self.table.keys.len() + 1);
        column.kind == Kind::Extensions
            && lists + self.table.path.len() + column.keys.len() + depth(value) > DEEPEST
    }

    /// Joins the coordinates of positions.
    fn positions(
        &self,
        row: &mut Value,
        halves: Vec<(&'static Column, Value)>,
        faults: &mut Vec<Fault>,
    ) {
        let mut halves = halves.into_iter().peekable();
        while let Some((column, x)) = halves.next() {
            let other = halves.next_if(|(next, _)| next.keys == column.keys);
            let Some((_, y)) = other else {
                let there = column.heading.as_str();
                let missing = self
                    .table
                    .columns
                    .iter()
                    .find(|other| other.keys == column.keys && other.axis != column.axis);
                if let Some(missing) = missing {
                    let number = self
                        .present()
                        .find(|(other, _)| other.heading == missing.heading)
                        .map(|(_, number)| number);
                    let message = format!(
                        "{there:?} has a value and {:?} is empty; fill in both or neither",
                        missing.heading
                    );
                    faults.push(half_missing(missing, number, message));
                }
                continue;
            };
            let position = Value::Array(vec![x, y]);
            match column.keys.split_last() {
                None => *row = position,
                Some((last, above)) => {
                    if let Some(object) = object(row, above) {
                        object.insert(last.clone(), position);
                    }
                }
            }
        }
    }

    /// Records required values that are missing although the object that contains them exists.
    fn missing(&self, row: &Value, faults: &mut Vec<Fault>) {
        for (column, number) in self.table.columns.iter().zip(&self.columns) {
            let Some((last, above)) = column.keys.split_last() else {
                // A row that is itself a position.
                if row.is_object() && column.axis == Some(0) && faults.is_empty() {
                    faults.push(half_missing(
                        column,
                        *number,
                        "the position is missing".to_owned(),
                    ));
                }
                continue;
            };
            let holder = above.iter().try_fold(row, |value, key| value.get(key.as_str()));
            if column.required_within
                && holder.is_some_and(|holder| holder.get(last.as_str()).is_none())
            {
                let message = if column.required {
                    format!("{:?} is empty, and every row requires it", column.heading)
                } else {
                    format!(
                        "{:?} is empty, and it is required if {:?} has any other value",
                        column.heading,
                        above.join(".")
                    )
                };
                let below = above.iter().fold(String::new(), |path, key| format!("{path}/{key}"));
                faults.push(fault(ProblemKind::MissingKey, column, below, *number, message));
            }
        }
    }
}

fn fault(
    kind: ProblemKind,
    column: &Column,
    below: String,
    number: Option<usize>,
    message: String,
) -> Fault {
    Fault {
        kind,
        below,
        column: number.map_or(0, |number| number + 1),
        heading: column.heading.clone(),
        message,
    }
}

/// The error of an incomplete position. In a row that is itself a position, the model would report
/// a wrong type.
fn half_missing(column: &Column, number: Option<usize>, message: String) -> Fault {
    if column.keys.is_empty() {
        fault(ProblemKind::WrongType, column, String::new(), number, message)
    } else {
        fault(ProblemKind::MissingKey, column, pointer(column), number, message)
    }
}

/// The end of the JSON Pointer to a column's value.
fn pointer(column: &Column) -> String {
    let path = column.keys.iter().fold(String::new(), |path, key| format!("{path}/{key}"));
    column.axis.map_or(path.clone(), |axis| format!("{path}/{axis}"))
}

/// The object at a path of keys, which is created if it is missing.
fn object<'v>(row: &'v mut Value, keys: &[String]) -> Option<&'v mut Map<String, Value>> {
    let mut object = row.as_object_mut()?;
    for key in keys {
        object = object
            .entry(key.clone())
            .or_insert_with(|| Value::Object(Map::new()))
            .as_object_mut()?;
    }
    Some(object)
}
