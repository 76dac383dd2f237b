//! KML (version 2.2, OGC 07-147r2) for a map on a phone: the structures and pipes, the
//! observations, and the locates from the surface. Write-only and lossy; the loss report lists what
//! is left out.
//!
//! ```
//! use obvert_convert::{LossKind, kml};
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
//! # let document = obvert_model::read::document(source)?;
//! let mut file = Vec::new();
//! let losses = kml::write(&document, &mut file)?;
//! // The run has no observations to draw.
//! assert!(losses.losses.iter().any(|loss| loss.pointer == "/runs/0" && loss.kind == LossKind::Dropped));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! | Folder | Placemarks |
//! |---|---|
//! | `structures`, `locates` | points |
//! | `pipes` | lines: the path, or straight between the two ends |
//! | `observations` | points, named by their code and distance |
//! | `stretches` | the parts of pipes that finished stretches cover |
//!
//! Every placemark has the columns of its row (those of the [CSV tables](crate::csv)) as
//! `ExtendedData`; observations also have those of their `run` and `pipe`, and `quantities` as one
//! text. Geometries are those of [GeoJSON](crate::geojson): on WGS 84, longitude first, with nine
//! decimals. Heights are left out: elevations of a survey are above another datum, and a phone
//! would draw pipes in the air.

mod text;
mod write;

pub use write::{write, write_runs};

use crate::format::{Capabilities, Container, Detection, Format};

/// KML.
pub static FORMAT: Format = Format {
    name: "kml",
    title: "KML",
    description: "KML 2.2 for a map on a phone, positions in WGS 84; write-only and lossy.",
    extensions: &["kml"],
    media_type: "application/vnd.google-earth.kml+xml",
    capabilities: Capabilities {
        lossless: false,
        container: Container::File { seekable: false },
        tabular: false,
        options: &[],
    },
    detect: |sample| match sample.start_has("http://www.opengis.net/kml/") {
        true => Detection::Certain,
        false => Detection::No,
    },
    open: None,
    create: Some(write::create),
};
