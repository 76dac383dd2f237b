//! Reference systems and linear referencing for pipe inspection surveys.
//!
//! The crate knows nothing of survey documents: it takes codes, positions and distances, and gives
//! back positions, lengths and reasons. No file is read and nothing is remembered between calls, so
//! it runs wherever Rust does.
//!
//! - [`Crs`] is a horizontal reference system by its EPSG code: its unit, its area, the way to WGS
//!   84 and back, lengths.
//! - [`Path`] places distances along a pipe on the map, in proportion to the pipe's stated length,
//!   and reads them back.
//! - [`Crs::fit`] and [`lonlat_issue`] tell exchanged coordinates and mistaken feet from good ones.
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
//! # What is exact and what is not
//!
//! Positions agree with PROJ's to a millimetre (`tests/interop/test_projection.py` names the few
//! that do not). The change of datum is the best published one that needs no grid file, and
//! [`DatumShift::accuracy_metres`] tells what its authority promises: from a few centimetres to 5 m
//! where a grid would do better (those worse are refused), and more for old datums that have
//! nothing better. NAD83 and its realisations, ETRS89 and their like are taken to equal WGS 84, as
//! PROJ does without grids, which hides a metre or two of continental drift. OSGB36 (EPSG:27700) is
//! shifted by seven parameters to about 2 m; only the OSTN grid, which is not carried, does better.

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

/// What the built-in registry was made from.
pub const REGISTRY_VERSION: &str = registry::VERSION;

// Tests the example in it.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
