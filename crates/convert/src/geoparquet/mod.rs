//! GeoParquet 1.1 for analysis: one file per layer, with joined columns for questions about pipes.
//! Write-only and lossy; the loss report lists what is left out.
//!
//! ```
//! use obvert_convert::geoparquet;
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
//! # let document = obvert_model::read::document(source)?;
//! let (files, losses) = geoparquet::write(&document)?;
//! assert!(files.iter().any(|(name, _)| name == "observations.parquet"));
//! assert!(losses.loses());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! | File | A row is | Columns |
//! |---|---|---|
//! | `structures.parquet`, `locates.parquet` | a row of the table | those of the table |
//! | `pipes.parquet` | a pipe | those of the table |
//! | `observations.parquet` | an observation | those of the table, its first two quantities (`quantity1.value`, `quantity1.unit`, …), and those of its `run.` and `pipe.` |
//!
//! Columns have the names of the [CSV tables](crate::csv), and types: `DOUBLE`, `INT64`, `BOOLEAN`,
//! strings. Every row also has `document`, `units.length` and `units.section`, so that the files of
//! many surveys can be combined. `geometry` is well-known binary on WGS 84, longitude first, as in
//! [GeoJSON](crate::geojson); positions as they were recorded have their own columns. The key `geo`
//! of the file's metadata is that of GeoParquet. The key `obvert` has the document's fields about
//! codes, grades and reference systems.

mod column;
mod wkb;
mod write;

pub use write::{Files, write, write_runs};

use crate::format::{Capabilities, Container, Detection, Folder, Format, Sample};

/// The names of the files that are written, one per layer.
pub const FILES: [&str; 4] =
    ["structures.parquet", "pipes.parquet", "locates.parquet", "observations.parquet"];

/// GeoParquet.
pub static FORMAT: Format = Format {
    name: "geoparquet",
    title: "GeoParquet",
    description: "A folder of GeoParquet files for analysis, one per layer, geometries in WGS 84; write-only and lossy.",
    extensions: &["parquet"],
    media_type: "application/vnd.apache.parquet",
    capabilities: Capabilities {
        lossless: false,
        container: Container::Folder(Folder {
            sentence: "GeoParquet is a folder with one file per layer",
            file: "GeoParquet file",
            names: || FILES.map(str::to_owned).to_vec(),
            reads: |_| false,
            packed: None,
        }),
        tabular: true,
        options: &[],
    },
    detect: |sample| match sample {
        Sample::File(bytes) if bytes.starts_with(b"PAR1") => Detection::Certain,
        Sample::Folder(names)
            if names.iter().any(|name| name.to_ascii_lowercase().ends_with(".parquet")) =>
        {
            Detection::Possible
        }
        _ => Detection::No,
    },
    open: None,
    create: Some(write::create),
};
