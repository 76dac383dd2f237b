//! Writing a document as tables, run by run, so that only the head and one run are in memory.

use std::io::Write;

use obvert_model::read::RunReader;
use obvert_model::tables::{Document, Head};

use super::{cell, file_of, schema};
use crate::tables::plan::plan;
use crate::tables::walk::{Entry, RowSink, walk};
use crate::{ConvertError, DocumentRuns, LossReport, Output};

/// The files of a package by name, in the order in which they are created: `datapackage.json`
/// first.
pub type Files<W = Vec<u8>> = Vec<(String, W)>;

/// Writes a document as a package: the names and contents of its files. The loss report is always
/// empty.
///
/// # Errors
/// Never for a document that was read; the serializer requires the signature.
pub fn write(document: &Document) -> Result<(Files, LossReport), ConvertError> {
    write_runs(&mut DocumentRuns::new(document), |_| Ok(Vec::new()))
}

/// Writes a survey that is read run by run. `open` is called with the name of each file before
/// anything is written, and returns its sink. All sinks are flushed and returned at the end. The
/// bytes are those of [`write`](fn@write).
///
/// # Errors
/// When the survey turns out to be invalid, or `open` or a sink fails.
pub fn write_runs<W: Write>(
    survey: &mut dyn RunReader<Error = ConvertError>,
    mut open: impl FnMut(&str) -> std::io::Result<W>,
) -> Result<(Files<W>, LossReport), ConvertError> {
    let mut package = open(schema::FILE)?;
    package.write_all(schema::package(survey.head()).as_bytes())?;
    package.flush()?;
    let mut files = vec![(schema::FILE.to_owned(), package)];

    let plan = plan();
    let mut tables = Vec::new();
    for table in &plan.tables {
        let sink = open(&file_of(table))?;
        let mut rows =
            csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(sink);
        rows.write_record(table.headings()).map_err(failed)?;
        tables.push(rows);
    }
    let mut tables = CsvRows(tables);
    walk(survey, &mut tables)?;
    for (table, rows) in plan.tables.iter().zip(tables.0) {
        let sink = rows.into_inner().map_err(|error| ConvertError::Write(error.into_error()))?;
        files.push((file_of(table), sink));
    }
    Ok((files, LossReport::default()))
}

/// Writes a survey into a folder.
pub(super) fn create(
    survey: &mut dyn RunReader<Error = ConvertError>,
    output: &mut Output<'_>,
) -> Result<LossReport, ConvertError> {
    let folder = output.folder()?;
    Ok(write_runs(survey, |name| folder.create(name))?.1)
}

/// The files that rows are written to, by the index of their table.
struct CsvRows<W: Write>(Vec<csv::Writer<W>>);

impl<W: Write> RowSink for CsvRows<W> {
    fn row(&mut self, _: &Head, table: usize, entries: &[Entry<'_>]) -> Result<(), ConvertError> {
        self.0[table].write_record(entries.iter().map(cell_of)).map_err(failed)
    }
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
