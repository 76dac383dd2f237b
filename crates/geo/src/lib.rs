//! Reference systems and linear referencing for pipe inspection surveys.
//!
//! The crate does not depend on survey documents: it takes codes, positions and distances, and
//! returns positions and lengths. It reads no files and keeps no state, so it runs on every
//! platform that Rust supports.
//!
//! - [`Crs`] is a horizontal reference system by its EPSG code, with its unit, its area of use,
//!   conversion to and from WGS 84, and lengths.
//! - [`Path`] converts distances along a pipe to positions on the map, in proportion to the pipe's
//!   stated length, and back.
//! - [`Crs::fit`] and [`lonlat_issue`] detect swapped coordinates and wrong units.
//!
//! ```
//! use obvert_geo::Crs;
//! // A pipe of 100 ft between two manholes; a defect at 61.5 ft.
//! let crs = Crs::parse("EPSG:6595")?;
//! let line = [[11_482_900.0, 3_647_000.0], [11_482_960.0, 3_647_080.0]];
//! let path = crs.path(&line)?;
//! let [x, y] = path.at_stated(61.5, 100.0)?;
//! assert!((x - 11_482_936.9).abs() < 1e-6 && (y - 3_647_049.2).abs() < 1e-6);
//! assert!((path.nearest([x, y])?.fraction - 0.615).abs() < 1e-9);
//! # Ok::<(), obvert_geo::GeoError>(())
//! ```
//!
//! # Accuracy
//!
//! Positions agree with PROJ to a millimetre (`tests/interop/test_projection.py` lists the few
//! exceptions). The datum transformation is the best published one that needs no grid file;
//! [`DatumShift::accuracy_metres`] gives its stated accuracy: a few centimetres to 5 m if a grid
//! would be better (worse ones are refused), and more for old datums without a better one. NAD83
//! and its realisations, ETRS89 and similar datums are assumed to equal WGS 84, as in PROJ without
//! grids, which ignores a metre or two of continental drift. OSGB36 (EPSG:27700) is transformed
//! with seven parameters to about 2 m; only the OSTN grid, which is not included, is better.

#![cfg_attr(docsrs, feature(doc_cfg))]

mod area;
mod crs;
mod datum;
mod error;
mod path;
mod projection;
mod registry;
mod unit;
mod wkt;

pub use area::{Area, Fit, LonLatIssue, Slip, lonlat_issue};
pub use crs::{Crs, CrsKind};
pub use datum::{DatumShift, Ellipsoid, Helmert};
pub use error::GeoError;
pub use path::{Nearest, Path, Placed};
pub use unit::{FOOT_METRES, US_SURVEY_FOOT_METRES, Unit};

/// The source of the built-in registry.
pub const REGISTRY_VERSION: &str = registry::VERSION;

// Tests the example in the readme.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
