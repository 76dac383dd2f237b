//! From a document to its tables. Runs go out one at a time, so that only the head and one run are ever held.

use std::borrow::Borrow;
use std::io::Write;

use obvert_model::tables::{Document, Head, Run};

use super::{cell, file_of, schema};
use crate::tables::plan::plan;
use crate::tables::walk::{Entry, walk};
use crate::{ConvertError, LossReport};

/// The files of a package by their names, in the order in which they are made: `datapackage.json` first.
pub type Files<W = Vec<u8>> = Vec<(String, W)>;

/// Writes a document as a package: the names and contents of its files. The loss report is empty, always.
///
/// # Errors
/// Never for a document that was read; the signature is the serializer's.
pub fn write(document: &Document) -> Result<(Files, LossReport), ConvertError> {
    write_stream(&document.head, document.runs.iter(), |_| Ok(Vec::new()))
}

/// Writes a document whose runs come one at a time. `open` is called with the name of each file before anything is
/// written and gives what it is written to; all are handed back, flushed, at the end. The bytes are those of
/// [`write`](fn@write).
///
/// # Errors
/// When `open` or what it gave fails.
pub fn write_stream<R: Borrow<Run>, W: Write>(
    head: &Head,
    runs: impl Iterator<Item = R>,
    mut open: impl FnMut(&str) -> std::io::Result<W>,
) -> Result<(Files<W>, LossReport), ConvertError> {
    let mut package = open(schema::FILE)?;
    package.write_all(schema::package(head).as_bytes())?;
    package.flush()?;
    let mut files = vec![(schema::FILE.to_owned(), package)];

    let plan = plan();
    let mut sheets = Vec::new();
    for table in &plan.tables {
        let sink = open(&file_of(table))?;
        let mut sheet = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(sink);
        sheet.write_record(table.headings()).map_err(failed)?;
        sheets.push(sheet);
    }
    walk(head, runs, &mut |index, _, entries| sheets[index].write_record(entries.iter().map(cell_of)).map_err(failed))?;
    for (table, sheet) in plan.tables.iter().zip(sheets) {
        let sink = sheet.into_inner().map_err(|error| ConvertError::Write(error.into_error()))?;
        files.push((file_of(table), sink));
    }
    Ok((files, LossReport::default()))
}

fn cell_of(entry: &Entry<'_>) -> String {
    match entry {
        Entry::Absent => String::new(),
        Entry::Name(id) => cell::harmless((*id).to_owned()),
        Entry::Place(place) => place.to_string(),
        Entry::Value(value, column) => cell::write(value, &column.kind),
        Entry::Bare => "{}".to_owned(),
    }
}

fn failed(error: csv::Error) -> ConvertError {
    ConvertError::Write(match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => std::io::Error::other(format!("{other:?}")),
    })
}
