//! Writing a document as KML, folder by folder. Values without a placemark are losses.

use std::io::{self, Write};

use obvert_model::read::RunReader;
use obvert_model::tables::{Document, Head, Observation, Run};
use serde::Serialize;
use serde_json::Value;

use super::text::{as_held, escaped};
use crate::map::geometry::{Geometry, LonLat};
use crate::map::network::{Map, Network};
use crate::tables::cell;
use crate::tables::plan::plan;
use crate::tables::walk::{Entry, columns};
use crate::{ConvertError, DocumentRuns, Loss, LossKind, LossReport, Output};

/// Why positions are transformed.
const WHY: &str = "KML has positions on WGS 84 only (OGC 07-147r2)";

/// Simple styles: dark blue lines, and points with the reader's default icon. Colours are
/// `aabbggrr`.
const STYLES: &str = r#"<Style id="structures"><IconStyle><color>ff4d3a1f</color><scale>0.7</scale></IconStyle></Style>
<Style id="pipes"><LineStyle><color>ff8a5a2b</color><width>3</width></LineStyle></Style>
<Style id="observations"><IconStyle><color>ff1f8fd9</color><scale>0.9</scale></IconStyle></Style>
<Style id="stretches"><LineStyle><color>ff1f8fd9</color><width>6</width></LineStyle></Style>
<Style id="locates"><IconStyle><color>ff2f2f2f</color><scale>0.9</scale></IconStyle></Style>
"#;

/// Writes a document as KML. The report lists the values that are left out.
///
/// # Errors
/// [`ConvertError::Refused`] for a document that has positions but no reference system that can be
/// transformed to WGS 84 (nothing is written then); [`ConvertError::Write`] when the sink fails.
pub fn write(document: &Document, sink: impl Write) -> Result<LossReport, ConvertError> {
    write_runs(&mut DocumentRuns::new(document), sink)
}

/// Writes a survey that is read run by run. The bytes are those of [`write`](fn@write). The
/// placemarks of stretches, which come last, are kept in memory, and so is the report, which has an
/// entry for every observation that is not on the map.
///
/// # Errors
/// As [`write`](fn@write), and when the survey turns out to be invalid.
pub fn write_runs(
    survey: &mut dyn RunReader<Error = ConvertError>,
    sink: impl Write,
) -> Result<LossReport, ConvertError> {
    let head = survey.head();
    let network = Network::new(head, WHY)?;
    let mut kml =
        Kml { sink, text: Vec::new(), stretches: Vec::new(), report: LossReport::default() };
    kml.losses_of_head(head);
    kml.sink.write_all(
        b"<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<kml xmlns=\"http://www.opengis.net/kml/2.2\">\n<Document>\n",
    )?;
    let title = head.assignment.as_ref().and_then(|assignment| assignment.title.as_ref());
    let title = title.map_or_else(|| "Pipe inspection survey".to_owned(), ToString::to_string);
    if kml.element("name", &title)? {
        kml.report.losses.push(not_held("/assignment/title".to_owned(), title.into()));
    }
    kml.element("description", &format!("{}, issued {}", head.id, head.issued))?;
    kml.flush()?;
    kml.sink.write_all(STYLES.as_bytes())?;

    kml.tables(network.on(head), head)?;
    kml.open("observations")?;
    let mut index = 0;
    while let Some(run) = survey.next_run()? {
        let head = survey.head();
        kml.run(network.on(head), head, index, &run)?;
        survey.recycle(run.observations);
        index += 1;
    }
    kml.close()?;
    kml.open("stretches")?;
    kml.sink.write_all(&kml.stretches)?;
    kml.close()?;
    kml.sink.write_all(b"</Document>\n</kml>\n")?;
    kml.sink.flush()?;
    Ok(kml.report)
}

/// Writes a survey into one file.
pub(super) fn create(
    survey: &mut dyn RunReader<Error = ConvertError>,
    output: &mut Output<'_>,
) -> Result<LossReport, ConvertError> {
    write_runs(survey, output.sink()?)
}

/// A text with characters that XML cannot hold.
fn not_held(pointer: String, was: Value) -> Loss {
    let message = "a text has characters that XML cannot hold; each is replaced by U+FFFD";
    let becomes = was.as_str().map(|text| as_held(text).into());
    Loss { was: Some(was), becomes, ..Loss::new(LossKind::Changed, pointer, message) }
}

/// A row whose columns become data of a placemark: the prefix of their names, the table, the row,
/// and its pointer in the document if its losses have not been reported.
type Columns<'r> = (&'static str, &'static str, &'r Value, Option<&'r str>);

struct Kml<W> {
    sink: W,
    /// The placemark that is being written.
    text: Vec<u8>,
    /// The placemarks of stretches.
    stretches: Vec<u8>,
    report: LossReport,
}

impl<W: Write> Kml<W> {
    fn lose(&mut self, kind: LossKind, pointer: impl Into<String>, message: &str) {
        self.report.add(kind, pointer, message);
    }

    /// Fields of the document and tables without positions have no placemark.
    fn losses_of_head(&mut self, head: &Head) {
        const NO_PLACE: &str = "KML has placemarks only, and this has no position";
        const KEPT: [&str; 6] = ["obvert", "id", "issued", "structures", "pipes", "locates"];
        let value = serde_json::to_value(head).unwrap_or_default();
        let keys = |value: &Value| -> Vec<String> {
            value.as_object().into_iter().flat_map(|object| object.keys().cloned()).collect()
        };
        for key in keys(&value) {
            match key.as_str() {
                "crs" => self.lose(
                    LossKind::Changed,
                    "/crs",
                    "positions are on WGS 84, rounded to nine decimals",
                ),
                "runs" => {}
                key if KEPT.contains(&key) => {}
                // Its title is the name of the document.
                "assignment" if value["assignment"].get("title").is_some() => {
                    for part in keys(&value["assignment"]).iter().filter(|part| *part != "title") {
                        self.lose(LossKind::Dropped, format!("/assignment/{part}"), NO_PLACE);
                    }
                }
                key => self.lose(LossKind::Dropped, format!("/{key}"), NO_PLACE),
            }
        }
    }

    fn open(&mut self, folder: &str) -> io::Result<()> {
        writeln!(self.sink, "<Folder id=\"{folder}-folder\"><name>{folder}</name>")
    }

    fn close(&mut self) -> io::Result<()> {
        self.sink.write_all(b"</Folder>\n")
    }

    /// Writes the placemark to the sink.
    fn flush(&mut self) -> io::Result<()> {
        self.sink.write_all(&self.text)?;
        self.text.clear();
        Ok(())
    }

    /// The placemark of a row, or why it has none, if more is known than that it has no position.
    fn row<R: Serialize>(
        &mut self,
        table: &'static str,
        index: usize,
        name: &str,
        row: &R,
        geometry: Result<Geometry, Option<String>>,
    ) -> Result<(), ConvertError> {
        let pointer = format!("/{table}/{index}");
        let value = serde_json::to_value(row).map_err(io::Error::other)?;
        match geometry {
            Ok(geometry) => {
                let id = format!("{table}-{}", index + 1);
                self.placemark(
                    (table, &id),
                    name,
                    &[("", table, &value, Some(&pointer))],
                    None,
                    &geometry,
                )?;
                self.flush()?;
            }
            Err(Some(why)) => {
                let loss =
                    Loss::new(LossKind::Dropped, pointer, format!("it is not on the map: {why}"));
                self.report.losses.push(Loss { was: value.get("position").cloned(), ..loss });
            }
            Err(None) => self.lose(
                LossKind::Dropped,
                pointer,
                "its position is not known, so it is not on the map",
            ),
        }
        Ok(())
    }

    /// The folders of the tables that are drawn without a run.
    fn tables(&mut self, map: Map<'_>, head: &Head) -> Result<(), ConvertError> {
        self.open("structures")?;
        for (index, row) in head.structures.iter().enumerate() {
            let name = format!("{} {}", row.kind, row.id);
            let why = || map.off_the_map(row.position);
            self.row("structures", index, &name, row, map.structure(index).ok_or_else(why))?;
        }
        self.close()?;
        self.open("pipes")?;
        for (index, row) in head.pipes.iter().enumerate() {
            let geometry = map.pipe(index);
            let pointer = || format!("/pipes/{index}/path");
            match row.path.len() {
                2.. if geometry.is_some() => {
                    self.lose(
                        LossKind::Changed,
                        pointer(),
                        "the path is the placemark's line, on WGS 84",
                    );
                }
                1 if geometry.is_some() => {
                    self.lose(LossKind::Dropped, pointer(), "a line needs more than one vertex")
                }
                _ => {}
            }
            let why = || Some(map.no_line(row).to_owned());
            self.row("pipes", index, row.id.as_str(), row, geometry.ok_or_else(why))?;
        }
        self.close()?;
        self.open("locates")?;
        for (index, row) in head.locates.iter().enumerate() {
            let depth = row
                .depth
                .map(|depth| format!(", {depth} {} deep", head.units.length))
                .unwrap_or_default();
            let why = || map.off_the_map(row.position);
            self.row(
                "locates",
                index,
                &format!("{}{depth}", row.id),
                row,
                map.locate(index).ok_or_else(why),
            )?;
        }
        self.close()?;
        Ok(())
    }

    /// The observations of a run, and its stretches.
    fn run(
        &mut self,
        map: Map<'_>,
        head: &Head,
        index: usize,
        run: &Run,
    ) -> Result<(), ConvertError> {
        let line = map.line_of(run);
        let placer = line.as_ref().and_then(|line| map.placer(run, line));
        let place = |row| {
            placer.as_ref().and_then(|placer| placer.observation(row)).map(|place| place.geometry)
        };
        let at = format!("/runs/{index}");
        self.losses_of_run(run, &at, run.observations.iter().any(|row| place(row).is_some()));
        let run_value =
            serde_json::to_value(run.clone().with_observations([])).map_err(io::Error::other)?;
        let pipe = map.pipe_of(run);
        let pipe_value = serde_json::to_value(pipe).map_err(io::Error::other)?;
        let why = match (&line, pipe) {
            (None, None) => "its pipe is not in the survey",
            (None, Some(_)) => "its pipe has no line on it",
            (Some(_), _) if placer.is_none() => "the line of its pipe has no length",
            _ => "its position on the pipe cannot be transformed",
        };
        // The losses of a run are reported with its first placemark, those of a pipe with its own.
        let mut reported = None;
        for (number, row) in run.observations.iter().enumerate() {
            let pointer = format!("{at}/observations/{number}");
            let Some(geometry) = place(row) else {
                self.lose(LossKind::Dropped, pointer, &format!("it is not on the map: {why}"));
                continue;
            };
            let name = format!("{} at {} {}", row.code, row.at, head.units.length);
            let value = serde_json::to_value(row).map_err(io::Error::other)?;
            let of_run = reported.replace(()).is_none().then_some(at.as_str());
            let rows = [
                ("", "observations", &value, Some(pointer.as_str())),
                ("run.", "runs", &run_value, of_run),
                ("pipe.", "pipes", &pipe_value, None),
            ];
            let id = format!("observations-{}-{}", index + 1, number + 1);
            let stretch = !matches!(geometry, Geometry::Point(_));
            let layer = if stretch { "stretches" } else { "observations" };
            self.placemark((layer, &id), &name, &rows, amounts(row), &geometry)?;
            if stretch {
                self.stretches.append(&mut self.text);
            } else {
                self.flush()?;
            }
            self.losses_of_observation(row, &pointer);
        }
        Ok(())
    }

    /// The losses of a run, which is part of the placemarks of its observations.
    fn losses_of_run(&mut self, run: &Run, at: &str, is_drawn: bool) {
        if !is_drawn {
            let none = match run.observations.is_empty() {
                true => "it has none",
                false => "none of them is on the map",
            };
            let message = format!("a run is part of its observations' placemarks, and {none}");
            self.lose(LossKind::Dropped, at, &message);
        } else if run.counter.as_ref().is_some_and(|counter| !counter.checks.is_empty()) {
            let message = "a placemark cannot hold a table";
            self.lose(LossKind::Dropped, format!("{at}/counter/checks"), message);
        }
    }

    fn losses_of_observation(&mut self, row: &Observation, at: &str) {
        let quantities = row.quantities.iter().enumerate();
        for (place, _) in quantities.filter(|(_, quantity)| quantity.extensions.is_some()) {
            let pointer = format!("{at}/quantities/{place}/extensions");
            let message = "only value and unit of a quantity are written";
            self.lose(LossKind::Dropped, pointer, message);
        }
        if !row.media.is_empty() {
            let message = "references to media are left out";
            self.lose(LossKind::Dropped, format!("{at}/media"), message);
        }
    }

    /// Writes a placemark. Its name repeats its data.
    fn placemark(
        &mut self,
        (layer, id): (&str, &str),
        name: &str,
        rows: &[Columns<'_>],
        amounts: Option<String>,
        geometry: &Geometry,
    ) -> io::Result<()> {
        write!(self.text, "<Placemark id=\"{id}\">")?;
        self.element("name", name)?;
        write!(self.text, "<styleUrl>#{layer}</styleUrl><ExtendedData>")?;
        for (prefix, table, row, pointer) in rows.iter().filter(|(_, _, row, _)| row.is_object()) {
            let Some(table) = plan().table(table) else { continue };
            for (heading, entry) in columns(table, row) {
                let (text, of) = match entry {
                    Entry::Value(value, column) => {
                        (cell::text(value, &column.kind), Some((value, column)))
                    }
                    Entry::Bare => ("{}".to_owned(), None),
                    _ => continue,
                };
                let changed = self.data(&format!("{prefix}{heading}"), &text)?;
                if let (true, Some(pointer), Some((value, column))) = (changed, pointer, of) {
                    let pointer = format!("{pointer}/{}", column.keys.join("/"));
                    self.report.losses.push(not_held(pointer, value.clone()));
                }
            }
        }
        if let Some(text) = amounts {
            self.data("quantities", &text)?;
        }
        self.text.write_all(b"</ExtendedData>")?;
        match geometry {
            Geometry::Point(position) => write!(
                self.text,
                "<Point><coordinates>{}</coordinates></Point>",
                coordinates(&[*position])
            )?,
            Geometry::Line(line) => self.line(line)?,
            Geometry::Lines(lines) => {
                self.text.write_all(b"<MultiGeometry>")?;
                for line in lines {
                    self.line(line)?;
                }
                self.text.write_all(b"</MultiGeometry>")?;
            }
        }
        self.text.write_all(b"</Placemark>\n")
    }

    fn line(&mut self, line: &[LonLat]) -> io::Result<()> {
        let positions = coordinates(line);
        write!(
            self.text,
            "<LineString><tessellate>1</tessellate><coordinates>{positions}</coordinates></LineString>"
        )
    }

    fn data(&mut self, name: &str, text: &str) -> io::Result<bool> {
        write!(self.text, "<Data name=\"{name}\">")?;
        let changed = self.element("value", text)?;
        self.text.write_all(b"</Data>")?;
        Ok(changed)
    }

    /// Writes an element with a text. Returns whether the text had to be changed.
    fn element(&mut self, name: &str, text: &str) -> io::Result<bool> {
        let (text, changed) = escaped(text);
        write!(self.text, "<{name}>{text}</{name}>")?;
        Ok(changed)
    }
}

/// The quantities of an observation as one text.
fn amounts(row: &Observation) -> Option<String> {
    let all: Vec<String> = row
        .quantities
        .iter()
        .map(|quantity| format!("{} {}", quantity.value, quantity.unit))
        .collect();
    (!all.is_empty()).then(|| all.join("; "))
}

fn coordinates(positions: &[LonLat]) -> String {
    positions.iter().map(|[lon, lat]| format!("{lon},{lat}")).collect::<Vec<_>>().join(" ")
}
