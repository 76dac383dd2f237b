//! Writing a document as a GeoPackage.

use std::collections::VecDeque;
use std::io::{self, Seek, Write};

use obvert_geo::Crs;
use obvert_model::read::RunReader;
use obvert_model::tables::{Document, Head, Run};
use rusqlite::types::Value as Sql;
use rusqlite::{Connection, Statement, params, params_from_iter};
use tempfile::NamedTempFile;

use super::blob::{self, Xy};
use super::{GEOMETRY, LAYERS, STRETCHES, failed, name_of, quoted, schema};
use crate::map::network::Network;
use crate::tables::cell;
use crate::tables::plan::{Kind, Table, plan};
use crate::tables::walk::{Entry, RowSink, walk};
use crate::{ConvertError, DocumentRuns, LossReport, Output};

/// Writes a document as a GeoPackage. Nothing is lost, so the report has no losses; its notes list
/// rows without a geometry. Equal documents give equal bytes.
///
/// # Errors
/// [`ConvertError::Write`] when the database or the sink fails, or there is no space for the
/// temporary file.
pub fn write(document: &Document, sink: impl Write) -> Result<LossReport, ConvertError> {
    write_runs(&mut DocumentRuns::new(document), sink)
}

/// Writes a survey that is read run by run. The bytes are those of [`write`](fn@write). The
/// database is written to a temporary file, and copied to the sink when it is complete.
///
/// # Errors
/// As [`write`](fn@write), and when the survey turns out to be invalid.
pub fn write_runs(
    survey: &mut dyn RunReader<Error = ConvertError>,
    mut sink: impl Write,
) -> Result<LossReport, ConvertError> {
    let plan = plan();
    let mut file = NamedTempFile::new()?;
    let mut base = Connection::open(file.path()).map_err(failed)?;
    // Most surveys are small, and every table and index takes at least one page. The journal is not
    // needed, since a failed file is discarded. The cache has 8 MiB.
    let settings = "PRAGMA page_size = 1024; PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -8192";
    base.execute_batch(settings).map_err(failed)?;
    let system = System::of(survey.head());
    let mut report = LossReport::default();
    {
        let change = base.transaction().map_err(failed)?;
        change.execute_batch(schema::CORE).map_err(failed)?;
        system.write(&change)?;
        for table in &plan.tables {
            change.execute_batch(&schema::create(plan, table)).map_err(failed)?;
        }
        change.execute_batch(&schema::create_stretches()).map_err(failed)?;
        let mut layers = Layers::new(survey.head(), system.id);
        walk(survey, &mut Rows::new(&change, &mut layers)?)?;
        layers.finish(&change, &mut report)?;
        describe(&change, survey.head(), &layers, system.id)?;
        change.commit().map_err(failed)?;
    }
    base.execute_batch(schema::MARKS).map_err(failed)?;
    base.close().map_err(|(_, error)| failed(error))?;
    file.rewind()?;
    io::copy(&mut file, &mut sink)?;
    sink.flush()?;
    Ok(report)
}

/// Writes a survey into one file.
pub(super) fn create(
    survey: &mut dyn RunReader<Error = ConvertError>,
    output: &mut Output<'_>,
) -> Result<LossReport, ConvertError> {
    write_runs(survey, output.sink()?)
}

/// The reference system of the layers.
struct System {
    id: i32,
    organization: String,
    code: i64,
    name: String,
    definition: String,
}

impl System {
    fn of(head: &Head) -> Self {
        let undefined = |id, organization: &str, code, name: &str| Self {
            id,
            organization: organization.to_owned(),
            code,
            name: name.to_owned(),
            definition: "undefined".to_owned(),
        };
        let Some(stated) = head.crs.as_ref().map(ToString::to_string) else {
            return undefined(-1, "NONE", -1, "");
        };
        if let Ok(crs) = Crs::parse(&stated) {
            let definition = crs.wkt().unwrap_or_else(|| "undefined".to_owned());
            let (id, name) = (i32::try_from(crs.code()).unwrap_or(-1), crs.name().to_owned());
            return Self {
                id,
                organization: "EPSG".to_owned(),
                code: i64::from(crs.code()),
                name,
                definition,
            };
        }
        // User-defined numbers start at 100000, above those of the EPSG.
        let (authority, code) = stated.split_once(':').unwrap_or(("NONE", &stated));
        undefined(100_000, authority, code.parse().unwrap_or(100_000), &stated)
    }

    fn write(&self, base: &Connection) -> Result<(), ConvertError> {
        let insert = "INSERT OR IGNORE INTO gpkg_spatial_ref_sys VALUES (?1, ?2, ?3, ?4, ?5, NULL)";
        let wgs84 = Crs::from_epsg(4326).ok().and_then(|crs| crs.wkt()).unwrap_or_default();
        base.execute(insert, params!["WGS 84", 4326, "EPSG", 4326, wgs84]).map_err(failed)?;
        let own = params![self.name, self.id, self.organization, self.code, self.definition];
        base.execute(insert, own).map_err(failed)?;
        Ok(())
    }
}

/// Writes the rows of all tables, with their geometries.
struct Rows<'b, 'l> {
    inserts: Vec<Statement<'b>>,
    stretch: Statement<'b>,
    /// The number of rows of each table that have been written.
    counts: Vec<usize>,
    layers: &'l mut Layers,
}

impl<'b, 'l> Rows<'b, 'l> {
    fn new(base: &'b Connection, layers: &'l mut Layers) -> Result<Self, ConvertError> {
        let mut inserts = Vec::new();
        for table in &plan().tables {
            let drawn = schema::layer(&table.name).map(|_| GEOMETRY.to_owned());
            let names: Vec<String> =
                drawn.into_iter().chain(table.headings().map(quoted)).collect();
            let marks = vec!["?"; names.len()].join(", ");
            let insert = format!(
                "INSERT INTO {} ({}) VALUES ({marks})",
                quoted(&name_of(table)),
                names.join(", ")
            );
            inserts.push(base.prepare(&insert).map_err(failed)?);
        }
        let stretch = format!(
            "INSERT INTO {STRETCHES} ({GEOMETRY}, run, observation, code, at, \"to\") VALUES (?, ?, ?, ?, ?, ?)"
        );
        let stretch = base.prepare(&stretch).map_err(failed)?;
        Ok(Self { counts: vec![0; inserts.len()], inserts, stretch, layers })
    }
}

impl RowSink for Rows<'_, '_> {
    /// A run is drawn before its rows are written.
    fn run(&mut self, head: &Head, run: &Run) -> Result<(), ConvertError> {
        self.layers.draw(head, run);
        Ok(())
    }

    fn row(
        &mut self,
        head: &Head,
        index: usize,
        entries: &[Entry<'_>],
    ) -> Result<(), ConvertError> {
        let table = &plan().tables[index];
        let row = self.counts[index];
        self.counts[index] += 1;
        let drawn = schema::layer(&table.name).map(|_| self.layers.geometry(head, table, row));
        let values = drawn.into_iter().chain(entries.iter().map(value_of));
        self.inserts[index].execute(params_from_iter(values)).map_err(failed)?;
        for (values, line) in self.layers.stretches.split_off(0) {
            let blob = self.layers.stretch(line);
            self.stretch
                .execute(params_from_iter([blob].into_iter().chain(values)))
                .map_err(failed)?;
        }
        Ok(())
    }
}

fn value_of(entry: &Entry<'_>) -> Sql {
    match entry {
        Entry::Absent => Sql::Null,
        Entry::Name(id) => Sql::Text((*id).to_owned()),
        Entry::Place(place) => Sql::Integer(i64::try_from(*place).unwrap_or(i64::MAX)),
        Entry::Bare => Sql::Text("{}".to_owned()),
        Entry::Value(value, column) => {
            match (&column.kind, value.as_i64(), value.as_f64(), value.as_bool()) {
                (Kind::Whole, Some(whole), ..) => Sql::Integer(whole),
                (Kind::Number, _, Some(number), _) => Sql::Real(number),
                (Kind::Bool, .., Some(truth)) => Sql::Integer(i64::from(truth)),
                _ => Sql::Text(cell::text(value, &column.kind)),
            }
        }
    }
}

/// The bounding boxes of rows, by primary key.
type Boxes = Vec<(usize, [f64; 4])>;

/// The geometries of the rows. Those of a run are derived when it is written.
struct Layers {
    network: Network,
    system: i32,
    /// The line of the last run.
    run: Option<Vec<Xy>>,
    /// The geometries of its observations that have not been written.
    observations: VecDeque<Option<Vec<Xy>>>,
    /// Its stretches that have not been written: the other columns, and the line.
    stretches: Vec<([Sql; 5], Vec<Xy>)>,
    /// The number of stretches so far.
    count: usize,
    /// The rows of each layer that have a geometry: primary key and bounding box.
    boxes: Vec<(&'static str, Boxes)>,
    without: usize,
}

impl Layers {
    fn new(head: &Head, system: i32) -> Self {
        Self {
            network: Network::in_its_own_system(head),
            system,
            run: None,
            observations: VecDeque::new(),
            stretches: Vec::new(),
            count: 0,
            boxes: LAYERS.iter().map(|(name, _)| (*name, Vec::new())).collect(),
            without: 0,
        }
    }

    /// Draws a run and its observations.
    fn draw(&mut self, head: &Head, run: &Run) {
        let map = self.network.on(head);
        let line = map.line_of(run);
        let placer = line.as_ref().and_then(|line| map.placer(run, line));
        self.run = placer.as_ref().and_then(|placer| placer.run_line(run)).map(|(line, _)| line);
        self.observations.clear();
        for row in &run.observations {
            let line = placer
                .as_ref()
                .and_then(|placer| placer.observation_line(row))
                .map(|(line, _)| line);
            if let Some(line) = line.as_ref().filter(|line| extended(line)) {
                let text = |text: &str| Sql::Text(text.to_owned());
                let (at, to) = (Sql::Real(row.at.get()), Sql::Real(row.end().get()));
                let columns = [text(&run.id), text(&row.id), text(&row.code), at, to];
                self.stretches.push((columns, line.clone()));
            }
            self.observations.push_back(line);
        }
    }

    /// The geometry of a row of a table, as a blob. Observations must be asked for in order.
    fn geometry(&mut self, head: &Head, table: &Table, row: usize) -> Sql {
        let position = |position: obvert_model::number::Position| vec![position.into()];
        let positions: Option<Vec<Xy>> = match table.name.as_str() {
            "structures" => head.structures.get(row).and_then(|row| row.position).map(position),
            "locates" => head.locates.get(row).and_then(|row| row.position).map(position),
            "pipes" => {
                Some(self.network.on(head).vertices(row).to_vec()).filter(|line| !line.is_empty())
            }
            "runs" => self.run.take(),
            _ => self.observations.pop_front().flatten(),
        };
        self.blob(&table.name, row, positions)
    }

    /// The geometry of the next row of the layer that is not a table of the document.
    fn stretch(&mut self, line: Vec<Xy>) -> Sql {
        self.count += 1;
        self.blob(STRETCHES, self.count - 1, Some(line))
    }

    fn blob(&mut self, layer: &str, row: usize, positions: Option<Vec<Xy>>) -> Sql {
        let line = schema::layer(layer) == Some("LINESTRING");
        let positions = positions.filter(|positions| !line || positions.len() >= 2);
        let Some(mut positions) = positions else {
            self.without += 1;
            return Sql::Null;
        };
        if !line {
            // The start of a stretch.
            positions.truncate(1);
        }
        if let (Some(bounds), Some((_, boxes))) =
            (blob::bounds(&positions), self.boxes.iter_mut().find(|(name, _)| *name == layer))
        {
            boxes.push((row, bounds));
        }
        Sql::Blob(blob::write(&positions, line, self.system))
    }

    /// Writes the spatial indexes of all layers.
    fn finish(&self, base: &Connection, report: &mut LossReport) -> Result<(), ConvertError> {
        let without = self.without;
        if without > 0 {
            let (s, have) = if without == 1 { ("", "has") } else { ("s", "have") };
            report
                .note("", format!("{without} row{s} of layers {have} no geometry, since their position is not known"));
        }
        for (layer, boxes) in &self.boxes {
            let rtree = format!("rtree_{layer}_{GEOMETRY}");
            let create =
                format!("CREATE VIRTUAL TABLE {rtree} USING rtree(id, minx, maxx, miny, maxy)");
            base.execute_batch(&create).map_err(failed)?;
            let mut insert = base
                .prepare(&format!("INSERT INTO {rtree} VALUES (?, ?, ?, ?, ?)"))
                .map_err(failed)?;
            for (row, [west, south, east, north]) in boxes {
                let id = i64::try_from(row + 1).unwrap_or(i64::MAX);
                insert.execute(params![id, west, east, south, north]).map_err(failed)?;
            }
            base.execute_batch(&schema::index(layer)).map_err(failed)?;
        }
        Ok(())
    }
}

fn extended(line: &[Xy]) -> bool {
    line.first().is_some_and(|first| line.iter().any(|position| position != first))
}

/// Registers the tables and the meanings of their columns.
fn describe(
    base: &Connection,
    head: &Head,
    layers: &Layers,
    system: i32,
) -> Result<(), ConvertError> {
    let day =
        format!("{}T00:00:00.000Z", head.issued.to_string().get(..10).unwrap_or("2000-01-01"));
    let contents = "INSERT INTO gpkg_contents VALUES (?1, ?2, ?1, ?3, ?4, ?5, ?6, ?7, ?8, ?9)";
    let stretches =
        "The parts of pipes that finished stretches cover, derived from the observations.";
    let tables =
        plan().tables.iter().map(|table| (table.name.as_str(), table.description.as_str()));
    for (name, description) in tables.chain([(STRETCHES, stretches)]) {
        let Some(kind) = schema::layer(name) else {
            let none: Option<f64> = None;
            let row = params![name, "attributes", description, day, none, none, none, none, none];
            base.execute(contents, row).map_err(failed)?;
            continue;
        };
        let boxes = layers
            .boxes
            .iter()
            .find(|(layer, _)| *layer == name)
            .map_or(&[][..], |(_, boxes)| boxes);
        let all: Vec<Xy> =
            boxes.iter().flat_map(|(_, [w, s, e, n])| [[*w, *s], [*e, *n]]).collect();
        let [west, south, east, north] =
            blob::bounds(&all).map_or([None; 4], |bounds| bounds.map(Some));
        let row = params![name, "features", description, day, west, south, east, north, system];
        base.execute(contents, row).map_err(failed)?;
        let columns = "INSERT INTO gpkg_geometry_columns VALUES (?, ?, ?, ?, 0, 0)";
        base.execute(columns, params![name, GEOMETRY, kind, system]).map_err(failed)?;
    }
    describe_columns(base).map_err(failed)
}

/// Registers the meanings of the columns, and their vocabularies.
fn describe_columns(base: &Connection) -> rusqlite::Result<()> {
    let columns = "INSERT INTO gpkg_data_columns VALUES (?1, ?2, ?2, ?2, ?3, NULL, ?4)";
    let words_of = "INSERT INTO gpkg_data_column_constraints VALUES (?, 'enum', ?, NULL, NULL, NULL, NULL, NULL)";
    let all = plan()
        .tables
        .iter()
        .flat_map(|table| table.columns.iter().map(move |column| (table.name.as_str(), column)));
    for (table, column) in all {
        let mut constraint = None;
        if let Kind::Word(words) = &column.kind {
            let name: &String = constraint.insert(format!("{table}.{}", column.heading));
            for word in words {
                base.execute(words_of, params![name, word])?;
            }
        }
        let row = params![table, column.heading, column.description, constraint];
        base.execute(columns, row)?;
    }
    Ok(())
}
