//! GeoPackages (OGC 12-128r19, version 1.4): one file that a GIS opens as layers, in the document's
//! own reference system, and that holds every value of the document. Lossless in both directions.
//!
//! ```
//! use obvert_convert::geopackage;
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
//! # let document = obvert_model::read::document(source)?;
//! let mut file = Vec::new();
//! geopackage::write(&document, &mut file)?;
//! assert_eq!(geopackage::read(&file, "survey.gpkg")?.document, document);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Mapping
//! The tables and columns are those of the [CSV tables](crate::csv), with the same names. Numbers
//! are `DOUBLE` or `INTEGER`, booleans `BOOLEAN`, days `DATE`, and everything else `TEXT`: a time
//! keeps its offset from UTC, which a `DATETIME` does not have. The vocabularies, titles and
//! meanings of columns are in `gpkg_data_columns` (the schema extension), where a GIS finds them.
//!
//! | Layer | Geometry |
//! |---|---|
//! | `structures`, `locates` | a point, at the row's position |
//! | `pipes` | a line: the path, or straight between the two ends |
//! | `runs` | the part of the pipe that the run covered, in the direction of travel |
//! | `observations` | a point; for a stretch, its start |
//! | `stretches` | the part of the pipe that a finished stretch covers, with its run and observation; not read |
//!
//! All other tables are attributes. Geometries are derived from the document as in
//! [GeoJSON](crate::geojson), but stay in its reference system, x before y. Each layer has a
//! spatial index with the triggers that keep it up to date.
//!
//! # Reading
//! The columns are read. Geometries add nothing. If they contradict the columns, because somebody
//! has moved one, the reader refuses the file: a structure or locate whose point is not at its
//! position, or a pipe whose line is not its path. If a structure or locate has no position, its
//! point is used: this is how a new one is drawn. A layer in another reference system than the
//! document, a line instead of a point, heights, and unknown layers are refused.
//!
//! There is no SQLite for wasm32, so the format is not available there.

mod blob;
mod geometry;
mod read;
mod schema;
mod stretches;
mod systems;
mod write;

pub use read::read;
pub use write::{write, write_runs};

use crate::ConvertError;
use crate::format::{Capabilities, Container, Detection, Format, Sample};
use crate::tables::plan::Table;

/// The GeoPackage.
pub static FORMAT: Format = Format {
    name: "geopackage",
    title: "GeoPackage",
    description: "A GeoPackage with one layer per table, in the survey's own reference system.",
    extensions: &["gpkg"],
    media_type: "application/geopackage+sqlite3",
    capabilities: Capabilities {
        lossless: true,
        container: Container::File { seekable: false },
        tabular: true,
        options: &[],
    },
    detect: |sample| match sample {
        Sample::File(bytes) if bytes.starts_with(b"SQLite format 3\0") => Detection::Certain,
        _ => Detection::No,
    },
    open: Some(read::open),
    create: Some(write::create),
};

/// The name of the geometry column.
const GEOMETRY: &str = "geom";
/// The name of the primary key.
const KEY: &str = "fid";
/// The layer of stretches, which is derived from the observations.
const STRETCHES: &str = "stretches";
/// The layers, and the type of their geometries.
const LAYERS: [(&str, &str); 6] = [
    ("structures", "POINT"),
    ("pipes", "LINESTRING"),
    ("locates", "POINT"),
    ("runs", "LINESTRING"),
    ("observations", "POINT"),
    (STRETCHES, "LINESTRING"),
];

/// The name of a table in the database.
fn name_of(table: &Table) -> String {
    table.name.clone()
}

/// A name as an SQL identifier.
fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}

fn failed(error: rusqlite::Error) -> ConvertError {
    ConvertError::Write(std::io::Error::other(error))
}
