//! From a document to its tables. Runs go out one at a time, so that only the head and one run are ever held.

use std::borrow::Borrow;
use std::io::Write;

use obvert_model::tables::{Document, Head, Run};
use serde_json::Value;

use super::cell;
use super::plan::{Column, Kind, Plan, Table, plan};
use super::schema;
use crate::{ConvertError, LossReport};

/// The files of a package by their names, in the order in which they are made: `datapackage.json` first.
pub type Files<W = Vec<u8>> = Vec<(String, W)>;

/// Writes a document as a package: the names and contents of its files. The loss report is empty, always.
///
/// # Errors
/// Never for a document that was read; the signature is the serializer's.
pub fn write(document: &Document) -> Result<(Files, LossReport), ConvertError> {
    stream(&document.head, document.runs.iter(), |_| Ok(Vec::new()))
}

/// Writes a document whose runs come one at a time. `open` is called with the name of each file before anything is
/// written and gives what it is written to; all are handed back, flushed, at the end. The bytes are those of
/// [`write`](fn@write).
///
/// # Errors
/// When `open` or what it gave fails.
pub fn stream<R: Borrow<Run>, W: Write>(
    head: &Head,
    runs: impl Iterator<Item = R>,
    mut open: impl FnMut(&str) -> std::io::Result<W>,
) -> Result<(Files<W>, LossReport), ConvertError> {
    let mut package = open(schema::FILE)?;
    package.write_all(schema::package(head).as_bytes())?;
    package.flush()?;
    let mut files = vec![(schema::FILE.to_owned(), package)];

    let mut writer = Writer { plan: plan(), sheets: Vec::new() };
    for table in &writer.plan.tables {
        let mut sheet = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(open(&table.file())?);
        sheet.write_record(table.headings()).map_err(failed)?;
        writer.sheets.push(sheet);
    }
    let head = serde_json::to_value(head).map_err(std::io::Error::other)?;
    writer.row(0, &head, &[], 0)?;
    let table = writer.plan.runs();
    for (place, run) in runs.enumerate() {
        let run = serde_json::to_value(run.borrow()).map_err(std::io::Error::other)?;
        writer.row(table, &run, &[], place + 1)?;
    }
    for (table, sheet) in writer.plan.tables.iter().zip(writer.sheets) {
        let sink = sheet.into_inner().map_err(|error| ConvertError::Write(error.into_error()))?;
        files.push((table.file(), sink));
    }
    Ok((files, LossReport::default()))
}

struct Writer<W: Write> {
    plan: &'static Plan,
    sheets: Vec<csv::Writer<W>>,
}

impl<W: Write> Writer<W> {
    /// Writes a row and all rows that it holds. `above` are the cells that name the row which holds it, `place` its
    /// place in the list, from 1.
    fn row(&mut self, index: usize, row: &Value, above: &[String], place: usize) -> Result<(), ConvertError> {
        let table = &self.plan.tables[index];
        let mut record: Vec<String> = above.to_vec();
        if table.ordered {
            record.push(place.to_string());
        }
        record.extend(table.columns.iter().map(|column| cell_of(row, column)));
        self.sheets[index].write_record(&record).map_err(failed)?;

        for child in self.plan.below(index) {
            let Some(items) = lookup(row, &self.plan.tables[child].below).and_then(Value::as_array) else { continue };
            let mut path = above.to_vec();
            if table.parent.is_some() {
                path.push(own_key(table, row, place));
            }
            for (number, item) in items.iter().enumerate() {
                self.row(child, item, &path, number + 1)?;
            }
        }
        Ok(())
    }
}

/// What names a row in the rows below it.
fn own_key(table: &Table, row: &Value, place: usize) -> String {
    if table.ordered {
        return place.to_string();
    }
    row.get(super::plan::ID).map(|id| cell::write(id, &Kind::Text)).unwrap_or_default()
}

fn cell_of(row: &Value, column: &Column) -> String {
    let Some(value) = lookup(row, &column.keys) else {
        // An object without a value of its own would leave no trace in its columns.
        let bare = column.kind == Kind::Extensions
            && column.keys.len() > 1
            && lookup(row, &column.keys[..column.keys.len() - 1])
                .and_then(Value::as_object)
                .is_some_and(serde_json::Map::is_empty);
        return if bare { "{}".to_owned() } else { String::new() };
    };
    let value = match column.axis {
        Some(axis) => value.get(axis),
        None => Some(value),
    };
    value.map(|value| cell::write(value, &column.kind)).unwrap_or_default()
}

fn lookup<'v>(row: &'v Value, keys: &[String]) -> Option<&'v Value> {
    keys.iter().try_fold(row, |value, key| value.get(key.as_str()))
}

fn failed(error: csv::Error) -> ConvertError {
    ConvertError::Write(match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => std::io::Error::other(format!("{other:?}")),
    })
}
