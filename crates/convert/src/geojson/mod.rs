//! GeoJSON (RFC 7946): a survey on the map, on WGS 84, that can be turned back into the very same
//! document.
//!
//! One feature collection holds everything. Each row of the tables that have a place is a feature
//! whose properties are the row as it stands in the document, with the table's name in `table`:
//!
//! | `table` | geometry |
//! |---|---|
//! | `structures`, `locates` | a point, from the row's `position` |
//! | `pipes` | a line: the row's `path`; without one, straight between the positions of its two ends |
//! | `runs` | the part of the pipe that the run covered, in the direction of travel |
//! | `observations` | a point; for a stretch with both ends, the part of the pipe that it covers. The run's id stands in `run` |
//!
//! Everything else of the document (what is said once, parties, equipment, media, ratings) is the
//! collection's foreign member `survey` (RFC 7946 §6.1). A row without a position is a feature
//! whose geometry is `null` (§3.2). Rows stand in the document's order, each run followed by its
//! observations.
//!
//! # Positions, and the way back
//!
//! Positions and distances stay in the properties as they were recorded, in the document's
//! reference system and units. The geometry is *derived* from them and says nothing new, so reading
//! gives back every byte. A geometry has nine decimals (0.1 mm). It has no third element, which
//! would have to be a height above the ellipsoid, and elevations of a survey are above a datum of
//! their own; there is no `crs` member (§4). Lines that cross the antimeridian are cut there
//! (§3.1.9).
//!
//! Distances become places in proportion: a reading, less what the counter read at its zero, more
//! the zero's distance from the centre of the structure, is a share of the pipe's stated length (of
//! the line's own where none is stated), and the same share of the line. An upstream run counts
//! from the downstream end. What lies beyond a pipe's end is drawn at that end, and its feature
//! says so in the property `placed`.
//!
//! # When somebody has edited the collection
//!
//! A map program can move a geometry. Then it contradicts the positions in the properties, and
//! which of the two is right only a person can know: the reader [refuses](Moved::Refuse), naming
//! each, unless it is told to [take the geometries over](Moved::TakeGeometry) or to [keep the
//! properties](Moved::KeepProperties). Differences within the seventh decimal (1 cm), to which many
//! programs round, are none. Where the properties have no position the geometry is taken over
//! without asking: that is how a new structure is drawn. The geometry of a run or an observation
//! never changes its distances: moved by itself it is an error.
//!
//! `null` properties are taken as absent, nested properties may be JSON in a text, and the
//! feature's `id` stands for a missing property `id`: this is what attribute tables make of rows.
//! Members of the collection that RFC 7946 and this format do not know are ignored.

mod collection;
mod moved;
mod read;
mod source;
mod write;

pub use moved::Moved;
pub use read::{read, read_with};
pub use write::{write, write_runs};

use crate::format::{Capabilities, Container, Detection, Format, FormatOption};

/// GeoJSON.
pub static FORMAT: Format = Format {
    name: "geojson",
    title: "GeoJSON",
    description: "GeoJSON (RFC 7946), positions in WGS 84.",
    extensions: &["geojson", "json"],
    media_type: "application/geo+json",
    capabilities: Capabilities {
        lossless: true,
        container: Container::File { seekable: false },
        tabular: false,
        options: &[FormatOption {
            name: Moved::OPTION,
            description: "what to do with a geometry that is not where its properties say",
            values: &Moved::NAMES,
        }],
    },
    detect: |sample| match sample.start().starts_with(b"{")
        && sample.start_has("\"FeatureCollection\"")
    {
        true => Detection::Certain,
        false => Detection::No,
    },
    open: Some(read::open),
    create: Some(write::create),
};

/// Why positions are transformed.
const WHY: &str = "GeoJSON has positions on WGS 84 only (RFC 7946 section 4)";

/// The tables whose rows are features, in the order in which they are written.
const TABLES: [&str; 5] = ["structures", "pipes", "locates", "runs", "observations"];

/// The properties that a feature has besides the keys of its row; `run` for observations only.
const ADDED: [&str; 3] = ["table", "run", "placed"];
