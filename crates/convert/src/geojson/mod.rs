//! GeoJSON (RFC 7946): a survey on a map, on WGS 84, that can be converted back into the same
//! document.
//!
//! ```
//! use obvert_convert::geojson;
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
//! # let document = obvert_model::read::document(source)?;
//! let mut file = Vec::new();
//! geojson::write(&document, &mut file)?;
//! assert_eq!(geojson::read(&file, "survey.geojson")?.document, document);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! A survey is one feature collection. Each row of the tables with a location is a feature, whose
//! properties are the row as it is in the document, with the name of the table in `table`:
//!
//! | `table` | geometry |
//! |---|---|
//! | `structures`, `locates` | a point, from the row's `position` |
//! | `pipes` | a line: the row's `path`; without one, straight between the positions of its two ends |
//! | `runs` | the part of the pipe that the run covered, in the direction of travel |
//! | `observations` | a point; for a stretch with both ends, the part of the pipe that it covers.
//! The property `run` has the id of the run |
//!
//! The rest of the document (the fields of the survey, parties, equipment, media, ratings) is the
//! collection's foreign member `survey` (RFC 7946 §6.1). A row without a position is a feature
//! whose geometry is `null` (§3.2). Rows are in the document's order, each run followed by its
//! observations.
//!
//! # Positions
//!
//! The properties keep positions and distances as they were recorded, in the document's reference
//! system and units. The geometry is *derived* from them and adds nothing, so reading gives back
//! every byte. A geometry has nine decimals (0.1 mm). It has no third element, which would have to
//! be a height above the ellipsoid, while elevations of a survey are above another datum. There is
//! no `crs` member (§4). Lines that cross the antimeridian are split there (§3.1.9).
//!
//! Distances are converted to positions in proportion. A reading, minus the reading at the zero of
//! the counter, plus the distance of the zero from the centre of the structure, is a fraction of
//! the stated length of the pipe (or of the length of its line), and the same fraction of the line.
//! An upstream run counts from the downstream end. A distance beyond the end of the pipe is drawn
//! at that end, and is mentioned in the property `placed` of its feature.
//!
//! # Edited collections
//!
//! A map program can move a geometry, which then contradicts the positions in the properties. Only
//! a person can know which of the two is right: the reader [refuses](Moved::Refuse) the file and
//! names each contradiction, unless it is set to [use the geometries](Moved::TakeGeometry) or to
//! [keep the properties](Moved::KeepProperties). Differences in the seventh decimal (1 cm), to
//! which many programs round, do not count. If the properties have no position, the geometry is
//! always used: this is how a new structure is drawn. The geometry of a run or an observation never
//! changes its distances: if it was moved by itself, that is an error.
//!
//! `null` properties are treated as absent, nested properties may be JSON in a text, and the
//! feature's `id` replaces a missing property `id`: this is what attribute tables do to rows.
//! Members of the collection that RFC 7946 and this format do not define are ignored.

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
            description: "what to do with a geometry that contradicts its properties",
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

/// The properties that a feature has in addition to the keys of its row; `run` only for
/// observations.
const ADDED: [&str; 3] = ["table", "run", "placed"];
