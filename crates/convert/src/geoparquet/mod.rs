//! The survey for analysis: GeoParquet 1.1, a file a layer, with the columns joined that a question about pipes needs together. Written
//! only, and not without loss; the loss report says what is left out.
//!
//! | File | A row is | Columns |
//! |---|---|---|
//! | `structures.parquet`, `locates.parquet` | a row of the table | those of the table |
//! | `pipes.parquet` | a pipe | those of the table |
//! | `observations.parquet` | an observation | those of the table, its first two quantities (`quantity1.value`, `quantity1.unit`, …), and those of its `run.` and `pipe.` |
//!
//! Columns are named as in the [CSV form](crate::csv), and typed: `DOUBLE`, `INT64`, `BOOLEAN`, strings. Every row has `document`,
//! `units.length` and `units.section` besides, so that files of many surveys can be put together. `geometry` is well-known binary on WGS 84,
//! longitude first, as in [GeoJSON](crate::geojson); positions as they were recorded stand in their own columns. The key `geo` of the
//! file's metadata is that of GeoParquet, the key `obvert` holds what is said once of codes, grades and reference systems.

/// The names of the files that are written, one a layer.
pub const FILES: [&str; 4] = ["structures.parquet", "pipes.parquet", "locates.parquet", "observations.parquet"];

mod column;
mod wkb;
mod write;

pub use write::{Files, write, write_stream};
