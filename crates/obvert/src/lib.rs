//! Obvert is an open interchange format for pipe inspection surveys: what a camera saw in sewers
//! and drains, at which distance, and how the pipe was graded. This crate reads, checks, converts
//! and writes such surveys. It works on bytes and streams; it never opens files or connections.
//!
//! # Check a survey
//!
//! In any file format, detected by name and content, and in any version of Obvert. Every finding has
//! its rule, message, severity and location:
//!
//! ```
//! use obvert::prelude::*;
//!
//! // Replace this by the bytes of a file.
//! let bytes = obvert::check::MINIMAL.as_bytes();
//! let checker = Checker::new(Settings::default())?;
//! let report = obvert::check_bytes(bytes, "survey.obvert.json", &checker)?;
//! for finding in &report.findings {
//!     println!("{}: {} [{}]", finding.severity, finding.message, finding.rule);
//! }
//! assert_eq!(report.totals.error, 0);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Read and convert
//!
//! ```
//! # let bytes = obvert::check::MINIMAL.as_bytes();
//! let mut opened = obvert::open(bytes, "survey.obvert.json")?;
//! let document = opened.survey()?.document;
//! for run in &document.runs {
//!     println!("run {} in pipe {}: {} observations", run.id, run.pipe, run.observations.len());
//! }
//!
//! // To XML and back without loss.
//! let mut xml = Vec::new();
//! let losses = obvert::convert::xml::write(&document, &mut xml)?;
//! assert!(losses.is_empty());
//! assert_eq!(obvert::convert::xml::read(&xml, "survey.xml")?.document, document);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Write a survey
//!
//! Every table has `new` with the required fields and a `with_…` method for each other field. Ids,
//! numbers and dates have their own types, so a document that compiles has the right structure:
//!
//! ```
//! use obvert::model::number::Length;
//! use obvert::model::tables::*;
//!
//! let pipe = Pipe::new("L-101".parse()?, "LM-014".parse()?).with_downstream("LM-015".parse()?);
//! let crack = Observation::new("1".parse()?, Length::new(31.5)?, "crack.longitudinal".parse()?);
//! let run = Run::new("R-1".parse()?, pipe.id.clone(), Direction::Downstream).with_observations([crack]);
//!
//! let units = Units::new(LengthUnit::Foot, SectionUnit::Inch);
//! let coding = Coding::new("obvert-terms".parse()?, "1".parse()?);
//! let head = Head::new("survey-7".parse()?, "2026-05-06T16:20:00-05:00".parse()?, units, coding)
//!     .with_pipes([pipe]);
//! let document = Document::new(head).with_runs([run]);
//! let json = obvert::to_string(&document)?;
//! assert_eq!(obvert::read(json.as_bytes())?, document);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Where things are
//!
//! | You want | See |
//! |---|---|
//! | the types of a document | [`model::tables`] |
//! | code lists, grade schemes, submission profiles | [`model::lists`], [`model::profile`] |
//! | to read a large survey run by run | [`Opened::read`], [`model::read::Reader`] |
//! | the rules, their settings and rules of your own | [`check`] |
//! | reports as SARIF, CSV, JUnit XML or HTML | [`check::output`] |
//! | file formats: CSV, GeoJSON, KML, XML, GeoPackage, GeoParquet, workbooks | [`convert`] |
//! | an office's own table, read, written and drafted by a layout | [`layout`] |
//!
//! # Features
//!
//! `check`, `reports`, `diagnose`, `csv`, `geojson`, `kml`, `layout` and `xml` are on by default.
//! `geopackage`, `geoparquet` and `xlsx` need larger libraries, `jiff` and `geo-types` add conversions
//! to the types of these crates. The crate's readme describes each.
//!
//! # What a clean check means
//!
//! The record is consistent with itself and with the format. It does not mean that a pipe is safe, or
//! that a located position is a safe place to dig: local codes and licensed practice decide.

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
#[cfg(feature = "deliver")]
pub use obvert_deliver as deliver;
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

/// The types that most programs need.
///
/// ```
/// use obvert::prelude::*;
///
/// let report = Checker::new(Settings::default())?.check(obvert::check::MINIMAL.as_bytes())?;
/// assert_eq!(report.totals.error, 0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub mod prelude {
    #[cfg(feature = "check")]
    pub use obvert_check::{Checker, Finding, Report, Settings, Severity};
    #[cfg(feature = "convert")]
    pub use obvert_convert::{ConvertError, LossReport, Survey};
    pub use obvert_model::read::ReadError;
    pub use obvert_model::tables::{Document, Head, Media, Observation, Pipe, Run, Structure};
}

// Tests the example in the readme.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
