//! From a document to KML, a folder after the other. What is no placemark goes into the loss report.

use std::borrow::Borrow;
use std::io::{self, Write};

use obvert_model::tables::{Document, Head, Observation, Run};
use serde::Serialize;
use serde_json::Value;

use super::text::escaped;
use crate::map::geometry::{Geometry, LonLat};
use crate::map::network::Network;
use crate::tables::cell;
use crate::tables::plan::plan;
use crate::tables::walk::{Entry, columns};
use crate::{ConvertError, LossKind, LossReport};

/// Why positions are transformed.
const WHY: &str = "KML has positions on WGS 84 only (OGC 07-147r2)";

/// Plain looks of this project's own: dark blue lines, and points that the reader's default icon shows. Colours are `aabbggrr`.
const STYLES: &str = r#"<Style id="structures"><IconStyle><color>ff4d3a1f</color><scale>0.7</scale></IconStyle></Style>
<Style id="pipes"><LineStyle><color>ff8a5a2b</color><width>3</width></LineStyle></Style>
<Style id="observations"><IconStyle><color>ff1f8fd9</color><scale>0.9</scale></IconStyle></Style>
<Style id="stretches"><LineStyle><color>ff1f8fd9</color><width>6</width></LineStyle></Style>
<Style id="locates"><IconStyle><color>ff2f2f2f</color><scale>0.9</scale></IconStyle></Style>
"#;

/// Writes a document as KML. The report says what of it is left out, and where.
///
/// # Errors
/// [`ConvertError::Refused`] for a document that has positions but no reference system that can be taken to WGS 84 (nothing is
/// written then); [`ConvertError::Write`] when the sink fails.
pub fn write(document: &Document, sink: impl Write) -> Result<LossReport, ConvertError> {
    write_stream(&document.head, document.runs.iter(), sink)
}

/// Writes a document whose runs come one at a time. The bytes are those of [`write`](fn@write). The placemarks of stretches, which
/// stand last, are held until then.
///
/// # Errors
/// As [`write`](fn@write).
pub fn write_stream<R: Borrow<Run>>(
    head: &Head,
    runs: impl Iterator<Item = R>,
    sink: impl Write,
) -> Result<LossReport, ConvertError> {
    let network = Network::new(head, WHY)?;
    let mut kml = Kml { sink, report: LossReport::default() };
    kml.losses_of_head(head);
    kml.sink.write_all(
        b"<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<kml xmlns=\"http://www.opengis.net/kml/2.2\">\n<Document>\n",
    )?;
    let title = head.assignment.as_ref().and_then(|assignment| assignment.title.as_ref());
    let title = title.map_or_else(|| "Pipe inspection survey".to_owned(), ToString::to_string);
    kml.element("name", &title, "/assignment/title")?;
    kml.element("description", &format!("{}, issued {}", head.id, head.issued), "/id")?;
    kml.sink.write_all(STYLES.as_bytes())?;

    kml.open("structures")?;
    for (index, row) in head.structures.iter().enumerate() {
        let name = format!("{} {}", row.kind, row.id);
        kml.row("structures", index, &name, row, network.structure(index).as_ref())?;
    }
    kml.close()?;
    kml.open("pipes")?;
    for (index, row) in head.pipes.iter().enumerate() {
        if !row.path.is_empty() {
            kml.lose(LossKind::Changed, format!("/pipes/{index}/path"), "the path is the placemark's line, on WGS 84");
        }
        kml.row("pipes", index, row.id.as_str(), row, network.pipe(index).as_ref())?;
    }
    kml.close()?;
    kml.open("locates")?;
    for (index, row) in head.locates.iter().enumerate() {
        let depth = row.depth.map(|depth| format!(", {depth} {} deep", head.units.length)).unwrap_or_default();
        kml.row("locates", index, &format!("{}{depth}", row.id), row, network.locate(index).as_ref())?;
    }
    kml.close()?;
    let mut stretches = Kml { sink: Vec::new(), report: LossReport::default() };
    kml.open("observations")?;
    for (index, run) in runs.enumerate() {
        kml.run(&network, head, (index, run.borrow()), false)?;
        stretches.run(&network, head, (index, run.borrow()), true)?;
    }
    kml.close()?;
    kml.open("stretches")?;
    kml.sink.write_all(&stretches.sink)?;
    kml.report.losses.append(&mut stretches.report.losses);
    kml.close()?;
    kml.sink.write_all(b"</Document>\n</kml>\n")?;
    kml.sink.flush()?;
    Ok(kml.report)
}

struct Kml<W> {
    sink: W,
    report: LossReport,
}

impl<W: Write> Kml<W> {
    fn lose(&mut self, kind: LossKind, pointer: impl Into<String>, message: &str) {
        self.report.add(kind, pointer, message);
    }

    /// What is said once and tables without a place have no placemark to stand at.
    fn losses_of_head(&mut self, head: &Head) {
        const KEPT: [&str; 6] = ["obvert", "id", "issued", "structures", "pipes", "locates"];
        let value = serde_json::to_value(head).unwrap_or_default();
        for key in value.as_object().into_iter().flat_map(|object| object.keys()) {
            match key.as_str() {
                "crs" => self.lose(LossKind::Changed, "/crs", "positions are on WGS 84, rounded to nine decimals"),
                "runs" => {}
                key if KEPT.contains(&key) => {}
                key => {
                    self.lose(LossKind::Dropped, format!("/{key}"), "KML has placemarks only, and this has no place")
                }
            }
        }
    }

    fn open(&mut self, folder: &str) -> io::Result<()> {
        writeln!(self.sink, "<Folder id=\"{folder}-folder\"><name>{folder}</name>")
    }

    fn close(&mut self) -> io::Result<()> {
        self.sink.write_all(b"</Folder>\n")
    }

    fn row<R: Serialize>(
        &mut self,
        table: &'static str,
        index: usize,
        name: &str,
        row: &R,
        geometry: Option<&Geometry>,
    ) -> Result<(), ConvertError> {
        let pointer = format!("/{table}/{index}");
        let value = serde_json::to_value(row).map_err(io::Error::other)?;
        self.placemark(
            (table, &format!("{table}-{}", index + 1)),
            name,
            &[("", table, &value)],
            &[],
            geometry,
            &pointer,
        )
    }

    /// The observations of a run, or the stretches among them.
    fn run(
        &mut self,
        network: &Network<'_>,
        head: &Head,
        (index, run): (usize, &Run),
        stretches: bool,
    ) -> Result<(), ConvertError> {
        let line = network.line_of(run);
        let placer = line.as_ref().and_then(|line| network.placer(run, line));
        let run_value =
            serde_json::to_value(Run { observations: Vec::new(), ..run.clone() }).map_err(io::Error::other)?;
        let pipe = head.pipes.iter().find(|pipe| pipe.id == run.pipe);
        let pipe = serde_json::to_value(pipe).map_err(io::Error::other)?;
        if !stretches {
            if run.counter.as_ref().is_some_and(|counter| !counter.checks.is_empty()) {
                self.lose(
                    LossKind::Dropped,
                    format!("/runs/{index}/counter/checks"),
                    "a placemark has no room for a table",
                );
            }
            if run.observations.is_empty() {
                self.lose(
                    LossKind::Dropped,
                    format!("/runs/{index}"),
                    "a run is told of with its observations, and it has none",
                );
            }
        }
        for (number, row) in run.observations.iter().enumerate() {
            let pointer = format!("/runs/{index}/observations/{number}");
            let place = placer.as_ref().and_then(|placer| placer.observation(row));
            let geometry = place.map(|place| place.geometry);
            let extended = geometry.as_ref().is_some_and(|geometry| !matches!(geometry, Geometry::Point(_)));
            // What has no place is lost once.
            if extended != stretches {
                continue;
            }
            if !row.media.is_empty() {
                self.lose(LossKind::Dropped, format!("{pointer}/media"), "media are not referred to");
            }
            let name = format!("{} at {} {}", row.code, row.at, head.units.length);
            let value = serde_json::to_value(row).map_err(io::Error::other)?;
            let rows = [("", "observations", &value), ("run.", "runs", &run_value), ("pipe.", "pipes", &pipe)];
            let layer = if stretches { "stretches" } else { "observations" };
            let id = format!("observations-{}-{}", index + 1, number + 1);
            self.placemark((layer, &id), &name, &rows, &amounts(row), geometry.as_ref(), &pointer)?;
        }
        Ok(())
    }

    fn placemark(
        &mut self,
        (layer, id): (&str, &str),
        name: &str,
        rows: &[(&str, &'static str, &Value)],
        more: &[(String, String)],
        geometry: Option<&Geometry>,
        pointer: &str,
    ) -> Result<(), ConvertError> {
        let Some(geometry) = geometry else {
            self.lose(LossKind::Dropped, pointer, "nothing says where it is, so it is not on the map");
            return Ok(());
        };
        write!(self.sink, "<Placemark id=\"{id}\">")?;
        self.element("name", name, pointer)?;
        write!(self.sink, "<styleUrl>#{layer}</styleUrl><ExtendedData>")?;
        for (prefix, table, row) in rows.iter().filter(|(.., row)| row.is_object()) {
            let Some(table) = plan().table(table) else { continue };
            for (heading, entry) in columns(table, row) {
                let text = match entry {
                    Entry::Value(value, column) => cell::text(value, &column.kind),
                    Entry::Bare => "{}".to_owned(),
                    _ => continue,
                };
                self.data(&format!("{prefix}{heading}"), &text, pointer)?;
            }
        }
        for (heading, text) in more {
            self.data(heading, text, pointer)?;
        }
        self.sink.write_all(b"</ExtendedData>")?;
        match geometry {
            Geometry::Point(position) => {
                write!(self.sink, "<Point><coordinates>{}</coordinates></Point>", coordinates(&[*position]))?
            }
            Geometry::Line(line) => self.line(line)?,
            Geometry::Lines(lines) => {
                self.sink.write_all(b"<MultiGeometry>")?;
                for line in lines {
                    self.line(line)?;
                }
                self.sink.write_all(b"</MultiGeometry>")?;
            }
        }
        self.sink.write_all(b"</Placemark>\n")?;
        Ok(())
    }

    fn line(&mut self, line: &[LonLat]) -> io::Result<()> {
        let positions = coordinates(line);
        write!(self.sink, "<LineString><tessellate>1</tessellate><coordinates>{positions}</coordinates></LineString>")
    }

    fn data(&mut self, name: &str, text: &str, pointer: &str) -> io::Result<()> {
        write!(self.sink, "<Data name=\"{name}\">")?;
        self.element("value", text, pointer)?;
        self.sink.write_all(b"</Data>")
    }

    fn element(&mut self, name: &str, text: &str, pointer: &str) -> io::Result<()> {
        let (text, changed) = escaped(text);
        if changed {
            self.lose(LossKind::Changed, pointer, "a text has characters that XML cannot hold; U+FFFD stands for each");
        }
        write!(self.sink, "<{name}>{text}</{name}>")
    }
}

/// The amounts of an observation as one text.
fn amounts(row: &Observation) -> Vec<(String, String)> {
    if row.quantities.is_empty() {
        return Vec::new();
    }
    let all: Vec<String> =
        row.quantities.iter().map(|quantity| format!("{} {}", quantity.value, quantity.unit)).collect();
    vec![("quantities".to_owned(), all.join("; "))]
}

fn coordinates(positions: &[LonLat]) -> String {
    positions.iter().map(|[lon, lat]| format!("{lon},{lat}")).collect::<Vec<_>>().join(" ")
}
