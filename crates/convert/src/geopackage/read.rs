//! Reading a GeoPackage.

use std::borrow::Cow;
use std::cell::RefCell;
use std::collections::VecDeque;

use rusqlite::config::DbConfig;
use rusqlite::types::ValueRef;
use rusqlite::{Connection, OptionalExtension, Statement};
use serde_json::Number;

use super::blob::{self, Xy};
use super::geometry::{Drawn, SAME, check_geometry, compare_pipes};
use super::stretches::{SHARED, Stretches};
use super::systems::Systems;
use super::{GEOMETRY, KEY, STRETCHES, name_of, quoted, schema};
use crate::tables::assemble::{Names, format_error};
use crate::tables::cell::{Cell, CellError, number_of};
use crate::tables::plan::{Column, ID, Kind, ORDER, Table, plan};
use crate::tables::source::{self, Pass, TableFile, Tables};
use crate::tables::unknown_table::UnknownTable;
use crate::tables::{Record, Rows};
use crate::{ConvertError, Input, Source, Survey};

/// The layers whose geometries are compared with the columns.
const POSITIONED: [&str; 3] = ["structures", "pipes", "locates"];
/// Tables that programs add to a GeoPackage for their own use.
const OF_PROGRAMS: [&str; 2] = ["layer_styles", "qgis_projects"];

/// The table whose rows the layer of stretches follows from.
const OBSERVATIONS: &str = "observations";

/// How many rows of a table are read at once.
const BATCH: i64 = 256;

/// Reads a GeoPackage. Messages call it `name`. In locations, the file is the table and the line is
/// the primary key of the row.
///
/// # Errors
/// When it is not a GeoPackage as described at [the module](crate::geopackage), a geometry
/// contradicts the columns, or the tables do not describe a valid document.
pub fn read(geopackage: &[u8], name: &str) -> Result<Survey, ConvertError> {
    open(Input::file(name, geopackage))?.survey()
}

/// Opens a GeoPackage.
pub(super) fn open<'a>(input: Input<'a>) -> Result<Box<dyn Source + 'a>, ConvertError> {
    Ok(source::source(Database::new(&input)?))
}

/// The database, and the tables of the survey in it.
struct Database {
    base: Connection,
    /// For each table, the query for its rows.
    queries: Vec<Option<Query>>,
    unknown: Vec<UnknownTable>,
    systems: Systems,
    drawn: RefCell<Drawn>,
    /// Whether there is the layer of stretches.
    has_stretches: bool,
    stretches: RefCell<Stretches>,
}

impl Database {
    fn new(input: &Input<'_>) -> Result<Self, ConvertError> {
        let refused = |message: String| ConvertError::Format {
            place: None,
            message: format!("{}: {message}", input.name()),
        };
        let base = connect(input.bytes()).map_err(refused)?;
        let names =
            contents(&base).map_err(|error| refused(format!("not a GeoPackage: {error}")))?;
        let mut unknown = Vec::new();
        for other in &names {
            let known = plan().tables.iter().any(|table| name_of(table) == *other);
            if known || other == STRETCHES || OF_PROGRAMS.contains(&other.as_str()) {
                continue;
            }
            let columns = base.prepare(&format!("SELECT * FROM {} LIMIT 0", quoted(other)));
            let headings = columns.map_or_else(
                |_| Vec::new(),
                |columns| columns.column_names().map(str::to_owned).collect(),
            );
            unknown.push(UnknownTable { name: other.clone(), headings });
        }
        let mut queries = Vec::new();
        for table in &plan().tables {
            let there = names.contains(&name_of(table));
            // Without the table of the document, that is the error.
            let is_lost = !there && !queries.is_empty();
            if is_lost && base.table_exists(None, name_of(table).as_str()).unwrap_or_default() {
                let message = format!(
                    "gpkg_contents does not list the table {:?}, so its rows would be lost; add the row there, or drop the table",
                    name_of(table)
                );
                return Err(refused(message));
            }
            queries.push(if there { Some(Query::new(&base, table)?) } else { None });
        }
        if queries.first().is_none_or(Option::is_none) {
            let message = "there is no table \"document\", which has the units, the code list and the other fields of the whole survey; every GeoPackage of this format has one";
            return Err(refused(message.to_owned()));
        }
        let systems = Systems::of(&base);
        Ok(Self {
            base,
            queries,
            unknown,
            systems,
            drawn: RefCell::default(),
            has_stretches: names.iter().any(|name| name == STRETCHES),
            stretches: RefCell::default(),
        })
    }
}

impl TableFile for Database {
    type Rows<'f> = TableRows<'f>;

    const NAMES: Names = name_of;

    fn tables(&mut self, pass: Pass) -> Result<Tables<'_, TableRows<'_>>, ConvertError> {
        self.drawn.get_mut().clear();
        *self.stretches.get_mut() = if self.has_stretches && pass != Pass::Keys {
            Stretches::of(&self.base)?
        } else {
            Stretches::default()
        };
        let this = &*self;
        let rows = this
            .queries
            .iter()
            .map(|query| query.as_ref().map(|query| this.rows(query, pass)).transpose());
        Ok(Tables {
            rows: rows.collect::<Result<_, _>>()?,
            unknown: &this.unknown,
            // The pipes have been read by then.
            compare: Box::new(|head| compare_pipes(head, &this.drawn.borrow())),
        })
    }
}

fn connect(bytes: &[u8]) -> Result<Connection, String> {
    if !bytes.starts_with(b"SQLite format 3\0") {
        return Err("not a GeoPackage: it is not an SQLite database".to_owned());
    }
    if bytes.get(18..20) == Some(&[2, 2]) {
        return Err("the database is open in another program (write-ahead log), and part of it may be in another file; close it there, then copy it".to_owned());
    }
    if cut_off(bytes) {
        return Err("the file is incomplete; fetch it again".to_owned());
    }
    let fail = |error: rusqlite::Error| format!("the database cannot be read: {error}");
    let mut base = Connection::open_in_memory().map_err(fail)?;
    base.deserialize_read_exact("main", bytes, bytes.len(), true).map_err(fail)?;
    // A database can contain code (views, triggers). None of it is run.
    for (config, on) in [
        (DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true),
        (DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false),
        (DbConfig::SQLITE_DBCONFIG_ENABLE_TRIGGER, false),
        (DbConfig::SQLITE_DBCONFIG_ENABLE_VIEW, false),
    ] {
        base.set_db_config(config, on).map_err(fail)?;
    }
    Ok(base)
}

/// Whether pages are missing at the end: a reader that does not use them would not notice. (The
/// SQLite file format, 1.3.)
fn cut_off(bytes: &[u8]) -> bool {
    let number = |at: usize, size: usize| {
        let bytes = bytes.get(at..at + size).unwrap_or_default();
        bytes.iter().fold(0_u64, |number, byte| number << 8 | u64::from(*byte))
    };
    let page = match number(16, 2) {
        1 => 65_536,
        size => size,
    };
    // The page count is valid only if the last writer has kept it up to date.
    let counted = number(24, 4) == number(92, 4);
    (bytes.len() as u64) < if counted { page * number(28, 4) } else { page }
}

fn contents(base: &Connection) -> rusqlite::Result<Vec<String>> {
    let mut list = base.prepare("SELECT table_name FROM gpkg_contents ORDER BY table_name")?;
    list.query_map([], |row| row.get(0))?.collect()
}

#[derive(Debug)]
enum Found {
    Empty,
    Whole(i64),
    Number(f64),
    Text(String),
    Blob,
}

/// A table and the query for its rows.
struct Query {
    table: &'static Table,
    name: String,
    headings: Vec<String>,
    /// The column with the geometry of a layer.
    geometry: Option<String>,
    /// The srs_id of the layer.
    system: Option<i64>,
}

/// The rows of a table, read in batches.
struct TableRows<'f> {
    query: &'f Query,
    statement: Statement<'f>,
    /// The rows that have been read and not been taken.
    batch: VecDeque<DatabaseRow>,
    /// The smallest primary key of the rows that have not been read; `None` after the last.
    next: Option<i64>,
    row: TableRow,
    drawn: &'f RefCell<Drawn>,
    stretches: &'f RefCell<Stretches>,
    systems: &'f Systems,
    /// The srs_id that the layer declares, if no geometry has been seen.
    layer: Option<i64>,
    /// The srs_id of the last geometry, which is that of the document.
    system: Option<i32>,
}

/// A row as it is in the database.
struct DatabaseRow {
    number: usize,
    geometry: Option<Vec<u8>>,
    cells: Vec<Found>,
}

/// The index of a column that the layer of stretches has too, by its heading.
fn place_of(headings: &[String], heading: &str) -> usize {
    headings.iter().position(|own| own == heading).unwrap_or(usize::MAX)
}

#[derive(Default)]
struct TableRow {
    cells: Vec<Found>,
}

impl Query {
    fn new(base: &Connection, table: &'static Table) -> Result<Self, ConvertError> {
        let name = name_of(table);
        let failed = |error: rusqlite::Error| unreadable(&name, &error);
        let stated = "SELECT column_name, srs_id FROM gpkg_geometry_columns WHERE table_name = ?";
        let stated = base.query_row(stated, [&name], |row| Ok((row.get(0)?, row.get(1)?)));
        let (geometry, system): (String, Option<i64>) =
            stated.optional().map_err(failed)?.unwrap_or_else(|| (GEOMETRY.to_owned(), None));
        let mut info =
            base.prepare(&format!("PRAGMA table_info({})", quoted(&name))).map_err(failed)?;
        let columns = info.query_map([], |row| {
            Ok((row.get::<_, String>(1)?, row.get::<_, String>(2)?, row.get::<_, i64>(5)?))
        });
        let columns: Vec<(String, String, i64)> =
            columns.and_then(|rows| rows.collect::<Result<_, _>>()).map_err(failed)?;
        drop(info);
        let key = |kind: &str, place: i64| place == 1 && kind.eq_ignore_ascii_case("INTEGER");
        let headings: Vec<String> = columns
            .iter()
            .filter(|(name, kind, place)| *name != geometry && name != KEY && !key(kind, *place))
            .map(|(name, ..)| name.clone())
            .collect();
        let layer =
            schema::layer(&name).is_some() && columns.iter().any(|(name, ..)| *name == geometry);
        Ok(Self { table, name, headings, geometry: layer.then_some(geometry), system })
    }

    /// The query for the rows of a batch, from a primary key on.
    fn sql(&self, pass: Pass) -> String {
        let null = || "NULL".to_owned();
        let is_key = |heading: &str| {
            heading == ID
                || heading == ORDER
                || self.table.keys.iter().any(|key| key.heading == heading)
        };
        let geometry =
            self.geometry.as_deref().filter(|_| pass != Pass::Keys).map_or_else(null, quoted);
        let columns = self.headings.iter();
        let columns = columns
            .map(|name| if pass == Pass::Keys && !is_key(name) { null() } else { quoted(name) });
        let list: Vec<String> = ["rowid".to_owned(), geometry].into_iter().chain(columns).collect();
        let table = quoted(&self.name);
        format!(
            "SELECT {} FROM {table} WHERE rowid >= ? ORDER BY rowid LIMIT {BATCH}",
            list.join(", ")
        )
    }
}

impl Database {
    fn rows<'f>(&'f self, query: &'f Query, pass: Pass) -> Result<TableRows<'f>, ConvertError> {
        let statement =
            self.base.prepare(&query.sql(pass)).map_err(|error| unreadable(&query.name, &error))?;
        Ok(TableRows {
            query,
            statement,
            batch: VecDeque::new(),
            next: Some(i64::MIN),
            row: TableRow::default(),
            drawn: &self.drawn,
            stretches: &self.stretches,
            systems: &self.systems,
            layer: query.system,
            system: None,
        })
    }
}

impl TableRows<'_> {
    /// Reads the next batch.
    fn fill(&mut self) -> Result<(), ConvertError> {
        let Some(next) = self.next.take() else { return Ok(()) };
        let Query { name, headings, .. } = self.query;
        let failed = |error: rusqlite::Error| unreadable(name, &error);
        let mut rows = self.statement.query([next]).map_err(failed)?;
        let mut count = 0;
        while let Some(row) = rows.next().map_err(failed)? {
            count += 1;
            let key = row.get::<_, i64>(0).map_err(failed)?;
            self.next = key.checked_add(1);
            let number = usize::try_from(key).unwrap_or_default();
            let geometry = match row.get_ref(1).map_err(failed)? {
                ValueRef::Blob(bytes) => Some(bytes.to_vec()),
                ValueRef::Null => None,
                _ => {
                    let message = "the geometry is not in bytes; draw it again, or set it to NULL";
                    return Err(format_error(name, number, message));
                }
            };
            let cell = |index: usize| found(row.get_ref(index + 2).map_err(failed)?, name, number);
            let cells = (0..headings.len()).map(cell).collect::<Result<_, _>>()?;
            self.batch.push_back(DatabaseRow { number, geometry, cells });
        }
        if count < BATCH {
            self.next = None;
        }
        Ok(())
    }
}

impl TableRows<'_> {
    /// Compares an observation with its row in the layer of stretches.
    fn compare_stretches(&self) -> Result<(), ConvertError> {
        let Query { table, headings, .. } = self.query;
        if table.name != OBSERVATIONS || self.stretches.borrow().is_empty() {
            return Ok(());
        }
        let shown = |heading: &str| self.row.shown(place_of(headings, heading)).into_owned();
        let (run, observation) = (shown("run"), shown(ID));
        // A cell that is not a number is an error of its own.
        let is_readable = ["at", "to"].iter().all(|name| {
            !matches!(self.row.found(place_of(headings, name)), Found::Text(_) | Found::Blob)
        });
        let values = is_readable.then(|| SHARED.map(shown));
        self.stretches.borrow_mut().compare((&run, &observation), values.as_ref())
    }
}

fn found(value: ValueRef<'_>, table: &str, row: usize) -> Result<Found, ConvertError> {
    Ok(match value {
        ValueRef::Null => Found::Empty,
        ValueRef::Integer(whole) => Found::Whole(whole),
        ValueRef::Real(number) => Found::Number(number),
        ValueRef::Text(text) => match std::str::from_utf8(text) {
            Ok("") => Found::Empty,
            Ok(text) => Found::Text(text.to_owned()),
            Err(_) => return Err(format_error(table, row, "a text is not UTF-8; correct it")),
        },
        ValueRef::Blob(_) => Found::Blob,
    })
}

fn unreadable(table: &str, error: &rusqlite::Error) -> ConvertError {
    format_error(table, 1, format!("the table cannot be read: {error}"))
}

impl TableRow {
    /// Compares a geometry with the position in the columns, or uses it if the columns have no
    /// position.
    fn compare(
        &mut self,
        table: &str,
        number: usize,
        headings: &[String],
        positions: Vec<Xy>,
        drawn: &mut Drawn,
    ) -> Result<(), ConvertError> {
        let column = |name: &str| headings.iter().position(|heading| heading == name);
        if table == "pipes" {
            let id = column(ID).map(|id| self.shown(id).into_owned()).unwrap_or_default();
            drawn.insert(id, (number, positions));
            return Ok(());
        }
        let (Some(x), Some(y), Some(point)) =
            (column("position.x"), column("position.y"), positions.first())
        else {
            return Ok(());
        };
        for (column, value) in [(x, point[0]), (y, point[1])] {
            match self.cells.get_mut(column) {
                Some(empty @ Found::Empty) => *empty = Found::Number(value),
                Some(Found::Number(stated)) if (*stated - value).abs() <= SAME => {}
                #[expect(clippy::cast_precision_loss, reason = "a coordinate is far below 2^53")]
                Some(Found::Whole(stated)) if (*stated as f64 - value).abs() <= SAME => {}
                _ => {
                    let message = format!(
                        "the point is at {}, {}, and position.x, position.y differ; make them the same, or clear the columns to use the point",
                        point[0], point[1]
                    );
                    return Err(format_error(table, number, message));
                }
            }
        }
        Ok(())
    }

    fn found(&self, number: usize) -> &Found {
        self.cells.get(number).unwrap_or(&Found::Empty)
    }
}

impl Rows for TableRows<'_> {
    type Row = TableRow;
    fn headings(&self) -> impl Iterator<Item = &str> {
        self.query.headings.iter().map(String::as_str)
    }
    fn next_row(&mut self) -> Result<Option<(usize, &TableRow)>, ConvertError> {
        if self.batch.is_empty() {
            self.fill()?;
        }
        let Some(DatabaseRow { number, geometry, cells }) = self.batch.pop_front() else {
            if self.query.table.name == OBSERVATIONS {
                self.stretches.borrow().finish()?;
            }
            return Ok(None);
        };
        self.row.cells = cells;
        self.compare_stretches()?;
        let Query { name, headings, .. } = self.query;
        if let Some(bytes) = geometry {
            let shape =
                blob::read(&bytes).map_err(|message| format_error(name, number, message))?;
            // The geometries of runs and observations are not used.
            if let Some(shape) = shape.filter(|_| POSITIONED.contains(&name.as_str())) {
                check_geometry(name, &shape, self.systems, &mut self.layer, &mut self.system)
                    .map_err(|message| format_error(name, number, message))?;
                self.row.compare(
                    name,
                    number,
                    headings,
                    shape.positions,
                    &mut self.drawn.borrow_mut(),
                )?;
            }
        }
        Ok(Some((number, &self.row)))
    }
}

impl Record for TableRow {
    fn cell(&self, number: usize, column: &Column) -> Result<Cell<'_>, CellError> {
        match self.found(number) {
            Found::Empty => Ok(Cell::Empty),
            Found::Text(text) => Ok(Cell::of_text(text.as_str())),
            Found::Whole(whole @ (0 | 1)) if column.kind == Kind::Bool => {
                Ok(Cell::Bool(*whole == 1))
            }
            Found::Whole(whole) => Ok(Cell::Number(Number::from(*whole))),
            Found::Number(number) => number_of(*number).map(Cell::Number).ok_or_else(|| {
                CellError::Kind(format!("{number} is not a valid number; correct it"))
            }),
            Found::Blob => {
                Err(CellError::Kind("the cell has bytes; write text or a number".to_owned()))
            }
        }
    }
    fn name(&self, number: usize) -> Cow<'_, str> {
        self.shown(number)
    }
    fn shown(&self, number: usize) -> Cow<'_, str> {
        match self.found(number) {
            Found::Empty => Cow::Borrowed(""),
            Found::Text(text) => Cow::Borrowed(text),
            Found::Whole(whole) => whole.to_string().into(),
            Found::Number(number) => {
                number_of(*number).map_or_else(|| number.to_string(), |n| n.to_string()).into()
            }
            Found::Blob => Cow::Borrowed("bytes"),
        }
    }
}
