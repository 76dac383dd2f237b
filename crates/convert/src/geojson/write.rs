//! Writing: the head, then the tables with positions, then each run with its observations, so that
//! an archive of any size needs only the memory of its head and one run.

use std::io::{self, Write};

use obvert_model::read::RunReader;
use obvert_model::tables::{Document, Head, LengthUnit, Run};
use serde::Serialize;

use super::WHY;
use crate::map::geometry::{Bounds, Geometry};
use crate::map::network::{Map, Network, Placed, Placer};
use crate::{ConvertError, DocumentRuns, LossReport, Output};

/// Writes a document as a GeoJSON feature collection.
///
/// Nothing is lost, so the report has no losses. Its notes list rows without a geometry, and
/// distances beyond their pipe that were drawn at its end.
///
/// # Errors
/// [`ConvertError::Refused`] for a document that has positions but no reference system that can be
/// transformed to WGS 84 (nothing is written then); [`ConvertError::Write`] when the sink fails.
pub fn write(document: &Document, sink: impl Write) -> Result<LossReport, ConvertError> {
    write_runs(&mut DocumentRuns::new(document), sink)
}

/// Writes a survey that is read run by run. The bytes are those of [`write`](fn@write).
///
/// # Errors
/// As [`write`](fn@write), and when the survey turns out to be invalid.
pub fn write_runs(
    survey: &mut dyn RunReader<Error = ConvertError>,
    sink: impl Write,
) -> Result<LossReport, ConvertError> {
    let head = survey.head();
    let network = Network::new(head, WHY)?;
    let mut report = LossReport { notes: network.notes().to_vec(), ..LossReport::default() };
    let mut out = Features { sink, line: Vec::new(), bounds: Bounds::default(), first: true };
    out.begin(head)?;
    out.tables(network.on(head), head)?;
    let mut index = 0;
    while let Some(mut run) = survey.next_run()? {
        let head = survey.head();
        for note in out.run(network.on(head), head.units.length, &mut run)? {
            report.note(format!("/runs/{index}"), note);
        }
        survey.recycle(run.observations);
        index += 1;
    }
    out.end()?;
    Ok(report)
}

/// Writes a survey into one file.
pub(super) fn create(
    survey: &mut dyn RunReader<Error = ConvertError>,
    output: &mut Output<'_>,
) -> Result<LossReport, ConvertError> {
    write_runs(survey, output.sink()?)
}

/// The properties that are added before the keys of a row. [`super::ADDED`] lists them for the
/// reader.
#[derive(Serialize)]
struct Properties<'r, R> {
    table: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    run: Option<&'r str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    placed: Option<String>,
    #[serde(flatten)]
    row: &'r R,
}

#[derive(Serialize)]
struct Feature<'r, R> {
    #[serde(rename = "type")]
    kind: &'static str,
    id: &'r str,
    properties: Properties<'r, R>,
    geometry: Option<&'r Geometry>,
}

struct Features<W> {
    sink: W,
    line: Vec<u8>,
    bounds: Bounds,
    first: bool,
}

impl<W: Write> Features<W> {
    /// The part before the features: the rest of the head.
    fn begin(&mut self, head: &Head) -> io::Result<()> {
        self.sink.write_all(b"{\n\"type\": \"FeatureCollection\",\n\"survey\": ")?;
        let rest = head.clone().with_structures([]).with_pipes([]).with_locates([]);
        obvert_model::write::Writer::new(&rest, &mut self.line)?.finish()?;
        self.sink.write_all(self.line.trim_ascii_end())?;
        self.sink.write_all(b",\n\"features\": [")
    }

    /// The tables that are drawn without a run.
    fn tables(&mut self, map: Map<'_>, head: &Head) -> io::Result<()> {
        for (index, row) in head.structures.iter().enumerate() {
            self.row("structures", &row.id, row, map.structure(index).as_ref())?;
        }
        for (index, row) in head.pipes.iter().enumerate() {
            self.row("pipes", &row.id, row, map.pipe(index).as_ref())?;
        }
        for (index, row) in head.locates.iter().enumerate() {
            self.row("locates", &row.id, row, map.locate(index).as_ref())?;
        }
        Ok(())
    }

    /// The part after the features.
    fn end(&mut self) -> io::Result<()> {
        self.sink.write_all(b"\n]")?;
        if let Some(bbox) = self.bounds.bbox() {
            self.sink.write_all(b",\n\"bbox\": ")?;
            serde_json::to_writer(&mut self.sink, &bbox).map_err(io::Error::from)?;
        }
        self.sink.write_all(b"\n}\n")?;
        self.sink.flush()
    }

    fn row<R: Serialize>(
        &mut self,
        table: &'static str,
        id: &str,
        row: &R,
        geometry: Option<&Geometry>,
    ) -> io::Result<()> {
        self.feature(id, Properties { table, run: None, placed: None, row }, geometry)
    }

    fn feature<R: Serialize>(
        &mut self,
        id: &str,
        properties: Properties<'_, R>,
        geometry: Option<&Geometry>,
    ) -> io::Result<()> {
        self.line.clear();
        self.line.extend(if std::mem::take(&mut self.first) { b"\n".as_slice() } else { b",\n" });
        serde_json::to_writer(
            &mut self.line,
            &Feature { kind: "Feature", id, properties, geometry },
        )?;
        if let Some(geometry) = geometry {
            self.bounds.add(geometry);
        }
        self.sink.write_all(&self.line)
    }

    /// Writes a run and its observations, and returns notes about their geometries.
    fn run(&mut self, map: Map<'_>, unit: LengthUnit, run: &mut Run) -> io::Result<Vec<String>> {
        let line = map.line_of(run);
        let placer = line.as_ref().and_then(|line| map.placer(run, line));
        let mut notes = Vec::new();
        if line.is_some() && placer.is_none() {
            notes.push(
                "the line of the pipe has no length, so the run and its observations have no geometry".to_owned(),
            );
        }

        let covered = placer.as_ref().and_then(|placer| placer.run(run));
        let observations = std::mem::take(&mut run.observations);
        let properties = Properties {
            table: "runs",
            run: None,
            placed: covered.as_ref().and_then(|c| placed_note(c, unit)),
            row: &*run,
        };
        self.feature(&run.id, properties, covered.as_ref().map(|covered| &covered.geometry))?;

        let mut far = 0_usize;
        let mut farthest = 0.0_f64;
        for row in &observations {
            let place = placer.as_ref().and_then(|placer: &Placer<'_>| placer.observation(row));
            if let Some(place) = place.as_ref().filter(|place| place.beyond != 0.0) {
                far += 1;
                farthest = farthest.max(place.beyond.abs());
            }
            let properties = Properties {
                table: "observations",
                run: Some(&run.id),
                placed: place.as_ref().and_then(|place| placed_note(place, unit)),
                row,
            };
            self.feature(&row.id, properties, place.as_ref().map(|place| &place.geometry))?;
        }
        if far > 0 {
            let (verb, s) = if far == 1 { ("lies", "") } else { ("lie", "s") };
            notes.push(format!(
                "{far} observation{s} {verb} up to {} {unit} beyond the ends of the pipe and {} drawn at the nearer end",
                short(farthest),
                if far == 1 { "is" } else { "are" }
            ));
        }
        run.observations = observations;
        Ok(notes)
    }
}

/// The note in a feature that is not drawn where its distance is.
fn placed_note(placed: &Placed, unit: LengthUnit) -> Option<String> {
    let (end, side) = match placed.beyond {
        0.0 => return None,
        beyond if beyond > 0.0 => ("far", "past"),
        _ => ("near", "before"),
    };
    let beyond = short(placed.beyond.abs());
    Some(format!(
        "drawn at the {end} end of the pipe; the recorded distance lies {beyond} {unit} {side} it"
    ))
}

/// A length for a message, without the last digits of a difference of doubles.
fn short(length: f64) -> f64 {
    (length * 1e6).round() / 1e6
}
