//! Writing a document as one file per layer.

use std::io::{self, Write};

use obvert_model::read::RunReader;
use obvert_model::tables::{Document, Head, Observation, Run};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use serde::Serialize;
use serde_json::{Map as JsonMap, Value, json};

use super::column::{Column, File};
use super::wkb;
use crate::map::geometry::Geometry;
use crate::map::network::{Map, Network};
use crate::tables::plan::{Kind, plan};
use crate::tables::walk::{Entry, columns};
use crate::{ConvertError, DocumentRuns, LossKind, LossReport, Output};

/// The files by their names.
pub type Files<W = Vec<u8>> = Vec<(String, W)>;

/// Why positions are transformed.
const WHY: &str = "GeoParquet is written on WGS 84";
/// How many quantities of an observation have columns.
const QUANTITIES: usize = 2;

/// Writes a document as one file per layer. The report lists the values that are left out; its
/// notes list rows without a geometry. Equal documents give equal bytes.
///
/// # Errors
/// [`ConvertError::Refused`] for a document that has positions but no reference system that can be
/// transformed to WGS 84.
pub fn write(document: &Document) -> Result<(Files, LossReport), ConvertError> {
    write_runs(&mut DocumentRuns::new(document), |_| Ok(Vec::new()))
}

/// Writes a survey that is read run by run. `open` is called with the name of each file and returns
/// its sink; all sinks are flushed and returned at the end. The bytes are those of
/// [`write`](fn@write): rows are written in groups of 16,384.
///
/// # Errors
/// As [`write`](fn@write), when the survey turns out to be invalid, and when `open` or a sink
/// fails.
pub fn write_runs<W: Write + Send>(
    survey: &mut dyn RunReader<Error = ConvertError>,
    mut open: impl FnMut(&str) -> io::Result<W>,
) -> Result<(Files<W>, LossReport), ConvertError> {
    let head = survey.head();
    let network = Network::new(head, WHY)?;
    let map = network.on(head);
    let mut report = LossReport { notes: network.notes().to_vec(), ..LossReport::default() };
    losses_of_head(head, &mut report);
    let mut files = Files::new();

    let mut layer = Layer::new(&[("", "structures")], head, open("structures.parquet")?)?;
    for (index, row) in head.structures.iter().enumerate() {
        layer.row(&[&value_of(row)?], map.structure(index))?;
    }
    files.push(("structures.parquet".to_owned(), layer.finish()?));

    let mut layer = Layer::new(&[("", "pipes")], head, open("pipes.parquet")?)?;
    for (index, row) in head.pipes.iter().enumerate() {
        let geometry = map.pipe(index);
        let pointer = || format!("/pipes/{index}/path");
        match (row.path.len(), &geometry) {
            (0, _) => {}
            (1, _) => report.add(LossKind::Dropped, pointer(), "a line needs more than one vertex"),
            (_, Some(_)) => {
                report.add(LossKind::Changed, pointer(), "the path is the geometry, on WGS 84")
            }
            (_, None) => {
                let message = format!("the path cannot be drawn: {}", map.no_line(row));
                report.add(LossKind::Dropped, pointer(), message);
            }
        }
        layer.row(&[&value_of(row)?], geometry)?;
    }
    files.push(("pipes.parquet".to_owned(), layer.finish()?));

    let mut layer = Layer::new(&[("", "locates")], head, open("locates.parquet")?)?;
    for (index, row) in head.locates.iter().enumerate() {
        layer.row(&[&value_of(row)?], map.locate(index))?;
    }
    files.push(("locates.parquet".to_owned(), layer.finish()?));

    let tables = [("", "observations"), ("run.", "runs"), ("pipe.", "pipes")];
    let mut layer = Layer::new(&tables, head, open("observations.parquet")?)?;
    let mut index = 0;
    while let Some(run) = survey.next_run()? {
        observations(network.on(survey.head()), (index, &run), &mut layer, &mut report)?;
        survey.recycle(run.observations);
        index += 1;
    }
    files.push(("observations.parquet".to_owned(), layer.finish()?));
    Ok((files, report))
}

/// Writes a survey into a folder.
pub(super) fn create(
    survey: &mut dyn RunReader<Error = ConvertError>,
    output: &mut Output<'_>,
) -> Result<LossReport, ConvertError> {
    let folder = output.folder()?;
    Ok(write_runs(survey, |name| folder.create(name))?.1)
}

fn observations<W: Write + Send>(
    map: Map<'_>,
    (index, run): (usize, &Run),
    layer: &mut Layer<W>,
    report: &mut LossReport,
) -> Result<(), ConvertError> {
    let line = map.line_of(run);
    let placer = line.as_ref().and_then(|line| map.placer(run, line));
    let run_value = value_of(&run.clone().with_observations([]))?;
    let pipe = value_of(&map.pipe_of(run))?;
    if run.counter.as_ref().is_some_and(|counter| !counter.checks.is_empty()) {
        report.add(
            LossKind::Dropped,
            format!("/runs/{index}/counter/checks"),
            "a row cannot hold a table",
        );
    }
    if run.observations.is_empty() {
        report.add(
            LossKind::Dropped,
            format!("/runs/{index}"),
            "a run is part of its observations' rows, and it has none",
        );
    }
    for (number, row) in run.observations.iter().enumerate() {
        let pointer = format!("/runs/{index}/observations/{number}");
        losses_of_observation(row, &pointer, report);
        let place = placer.as_ref().and_then(|placer| placer.observation(row));
        layer.row(&[&value_of(row)?, &run_value, &pipe], place.map(|place| place.geometry))?;
    }
    Ok(())
}

fn losses_of_observation(row: &Observation, pointer: &str, report: &mut LossReport) {
    if !row.media.is_empty() {
        let message = "references to media are left out";
        report.add(LossKind::Dropped, format!("{pointer}/media"), message);
    }
    for (place, quantity) in row.quantities.iter().enumerate() {
        let pointer = format!("{pointer}/quantities/{place}");
        if place >= QUANTITIES {
            let message = "only the first two quantities have columns";
            report.add(LossKind::Dropped, pointer, message);
        } else if quantity.extensions.is_some() {
            let message = "only value and unit of a quantity have columns";
            report.add(LossKind::Dropped, format!("{pointer}/extensions"), message);
        }
    }
}

fn value_of(row: &impl Serialize) -> Result<Value, ConvertError> {
    Ok(serde_json::to_value(row).map_err(io::Error::other)?)
}

/// The fields of the document in the metadata of each file.
const METADATA_KEYS: [&str; 8] =
    ["obvert", "id", "issued", "units", "crs", "vertical", "coding", "grading"];

fn losses_of_head(head: &Head, report: &mut LossReport) {
    let value = serde_json::to_value(head).unwrap_or_default();
    for key in value.as_object().into_iter().flat_map(JsonMap::keys) {
        match key.as_str() {
            "crs" => report.add(
                LossKind::Changed,
                "/crs",
                "geometries are on WGS 84, rounded to nine decimals",
            ),
            "structures" | "pipes" | "locates" | "runs" => {}
            key if METADATA_KEYS.contains(&key) => {}
            key => report.add(LossKind::Dropped, format!("/{key}"), "it has no layer"),
        }
    }
}

/// The number of rows in a group.
const GROUP: usize = 16_384;

/// A file that is being written.
struct Layer<W: Write + Send> {
    /// The tables that are joined, with the prefixes of their columns.
    tables: Vec<(&'static str, &'static str)>,
    /// The columns that have the same value in all rows, and their values.
    constant: Vec<(Column, String)>,
    /// The columns of the tables, one table after the other.
    columns: Vec<Column>,
    quantities: Vec<Column>,
    shape: Column,
    /// The number of rows in memory.
    held: usize,
    seen: wkb::Seen,
    /// The value of the key `obvert`.
    survey_metadata: Value,
    file: File<W>,
}

impl<W: Write + Send> Layer<W> {
    fn new(
        tables: &[(&'static str, &'static str)],
        head: &Head,
        sink: W,
    ) -> Result<Self, ConvertError> {
        let (length, section) = (head.units.length.to_string(), head.units.section.to_string());
        let constant = [
            ("document", head.id.to_string()),
            ("units.length", length),
            ("units.section", section),
        ];
        let constant: Vec<_> = constant
            .map(|(name, text)| (Column::of(name.to_owned(), &Kind::Text), text))
            .into_iter()
            .collect();
        let mut all = Vec::new();
        for (prefix, table) in tables {
            for column in plan().table(table).into_iter().flat_map(|table| &table.columns) {
                all.push(Column::of(format!("{prefix}{}", column.heading), &column.kind));
            }
        }
        let mut quantities = Vec::new();
        if tables.iter().any(|(_, table)| *table == "observations") {
            for number in 1..=QUANTITIES {
                quantities.push(Column::of(format!("quantity{number}.value"), &Kind::Number));
                quantities.push(Column::of(format!("quantity{number}.unit"), &Kind::Text));
            }
        }
        let shape = Column::of_bytes("geometry");
        let every = constant
            .iter()
            .map(|(column, _)| column)
            .chain(&all)
            .chain(&quantities)
            .chain([&shape]);
        let file = File::open(every, sink).map_err(failed)?;
        let value = value_of(head)?;
        let survey_metadata: JsonMap<String, Value> = METADATA_KEYS
            .iter()
            .filter_map(|key| Some(((*key).to_owned(), value.get(key)?.clone())))
            .collect();
        Ok(Self {
            tables: tables.to_vec(),
            constant,
            columns: all,
            quantities,
            shape,
            held: 0,
            seen: wkb::Seen::default(),
            survey_metadata: json!(survey_metadata),
            file,
        })
    }

    /// Adds a row: one of each joined table.
    fn row(&mut self, rows: &[&Value], geometry: Option<Geometry>) -> Result<(), ConvertError> {
        for (column, text) in &mut self.constant {
            column.push(&Entry::Name(text));
        }
        let mut out = self.columns.iter_mut();
        for ((_, table), row) in self.tables.iter().zip(rows) {
            let Some(table) = plan().table(table) else { continue };
            for ((_, entry), column) in columns(table, row).zip(out.by_ref()) {
                column.push(&entry);
            }
        }
        let quantities =
            rows.first().and_then(|row| row.get("quantities")).and_then(Value::as_array);
        let columns_of = plan().table("quantities").map_or(&[][..], |table| &table.columns);
        for (number, pair) in self.quantities.chunks_mut(2).enumerate() {
            let quantity = quantities.and_then(|all| all.get(number));
            for (column, key) in pair.iter_mut().zip(["value", "unit"]) {
                let of = columns_of.iter().find(|column| column.heading == key);
                match (quantity.and_then(|quantity| quantity.get(key)), of) {
                    (Some(value), Some(of)) => column.push(&Entry::Value(value, of)),
                    _ => column.push(&Entry::Absent),
                }
            }
        }
        self.shape.push_bytes(geometry.as_ref().map(wkb::bytes));
        geometry.iter().for_each(|geometry| self.seen.add(geometry));
        self.held += 1;
        if self.held == GROUP { self.group() } else { Ok(()) }
    }

    /// Writes the rows in memory.
    fn group(&mut self) -> Result<(), ConvertError> {
        self.held = 0;
        let constant = self.constant.iter_mut().map(|(column, _)| column);
        let all =
            constant.chain(&mut self.columns).chain(&mut self.quantities).chain([&mut self.shape]);
        self.file.group(all).map_err(failed)
    }

    fn finish(mut self) -> Result<W, ConvertError> {
        if self.held > 0 || self.file.is_empty() {
            self.group()?;
        }
        let metadata = [("geo", self.seen.metadata()), ("obvert", self.survey_metadata)];
        let metadata =
            metadata.map(|(key, value)| KeyValue::new(key.to_owned(), value.to_string()));
        let mut sink = self.file.close(metadata).map_err(failed)?;
        sink.flush()?;
        Ok(sink)
    }
}

fn failed(error: ParquetError) -> ConvertError {
    ConvertError::Write(io::Error::other(error))
}
