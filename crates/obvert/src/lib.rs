//! Obvert, an open interchange format for pipe inspection surveys, in one crate for those who embed
//! it.
//!
//! - [`model`]: the typed document, strict reading, canonical writing, code lists and grade
//!   schemes.
//! - `check`: the rule catalogue and the checker (feature `check`).
//! - `convert`: CSV tables, GeoJSON, KML and XML (features `csv`, `geojson`, `kml`, `xml`);
//!   GeoPackage, GeoParquet and workbooks (`geopackage`, `geoparquet`, `xlsx`, which are not on by
//!   default).
//! - `layout`: an office's own table, read, written and drafted by a layout (feature `layout`).
//!
//! Read a survey, check it, and write it in another form:
//!
//! ```
//! use obvert::prelude::*;
//!
//! let source = obvert::check::MINIMAL.as_bytes();
//! let document = obvert::read(source)?;
//! assert_eq!(document.head.pipes.len(), 2);
//!
//! let report = Checker::new(Settings::default())?.check(source)?;
//! assert_eq!(report.totals.error, 0);
//!
//! let mut xml = Vec::new();
//! let losses = obvert::convert::xml::write(&document, &mut xml)?;
//! assert!(losses.is_empty());
//! let back = obvert::convert::xml::read(&xml, "survey.xml")?.document;
//! assert_eq!(back, document);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! A clean check says that a record agrees with itself and with its format. It does not say that a
//! pipe is safe, nor that a located position is a safe place to dig: local codes and licensed
//! practice decide.

#![cfg_attr(docsrs, feature(doc_cfg))]

pub use obvert_model as model;
#[doc(inline)]
pub use obvert_model::read::document as read;
#[doc(inline)]
pub use obvert_model::write::to_string;

#[cfg(feature = "check")]
pub use obvert_check as check;
#[cfg(feature = "convert")]
pub use obvert_convert as convert;
#[cfg(feature = "layout")]
pub use obvert_layout as layout;

#[cfg(feature = "convert")]
pub mod open;
#[cfg(all(feature = "convert", feature = "check"))]
#[doc(inline)]
pub use open::check_bytes;
#[cfg(feature = "convert")]
#[doc(inline)]
pub use open::{OpenError, Opened, open};

/// What most programs need.
pub mod prelude {
    #[cfg(feature = "check")]
    pub use obvert_check::{Checker, Finding, Report, Settings, Severity};
    #[cfg(feature = "convert")]
    pub use obvert_convert::{ConvertError, LossReport, Survey};
    pub use obvert_model::read::ReadError;
    pub use obvert_model::tables::{Document, Head, Media, Observation, Pipe, Run, Structure};
}

// Tests the example in it.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
