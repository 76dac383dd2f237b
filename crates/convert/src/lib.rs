//! The formats in which a survey is read and written, and conversion between them.
//!
//! A format is a folder of this crate and a line of its registry, [`Formats`]: how it is detected,
//! opened and written, and its capabilities. Opening a file gives a [`Source`], which is read run
//! by run, or all at once as a [`Survey`]: the document, and a [`SourceMap`] from its JSON Pointers
//! to the file, row and column of each value. A writer takes runs one at a time from any reader and
//! returns a [`LossReport`] of the values that the format cannot hold. The report of a lossless
//! format is always empty.
//!
//! ```
//! use obvert_convert::{DocumentRuns, Formats, Input, Output};
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
//! let formats = Formats::built_in();
//! let mut survey = formats.open(Input::file("survey.json", source), None)?;
//! let document = survey.survey()?.document;
//! // Every format that is one file, from the same document.
//! for format in formats.iter().filter(|format| format.is_written() && format.folder().is_none()) {
//!     let mut file = std::io::Cursor::new(Vec::new());
//!     let losses = format.write(&mut DocumentRuns::new(&document), Output::File(&mut file))?;
//!     println!("{}: {} bytes, {} losses", format.title, file.get_ref().len(), losses.losses.len());
//! }
//! # Ok::<(), obvert_convert::ConvertError>(())
//! ```
//!
//! Readers take bytes. Writers write to a sink or a folder that the caller creates. This crate
//! opens no files, except that the writer of GeoPackages uses a temporary file.

#![cfg_attr(docsrs, feature(doc_cfg))]

mod account;
mod error;
mod format;
mod limits;
mod loss;
mod position;
#[cfg(any(feature = "tables", feature = "geojson"))]
mod row_file;
#[cfg(any(feature = "tables", feature = "geojson", feature = "xml"))]
mod runs;
mod source;
mod source_map;

pub mod json;
pub mod recode;

// Each format uses only some of these items.
#[cfg(feature = "tables")]
#[cfg_attr(not(all(feature = "csv", feature = "geopackage", feature = "xlsx")), allow(dead_code))]
pub mod tables;
#[cfg(any(feature = "csv", feature = "xlsx"))]
mod unpack;

#[cfg(feature = "csv")]
pub mod csv;
#[cfg(feature = "geojson")]
pub mod geojson;
#[cfg(all(feature = "geopackage", not(target_arch = "wasm32")))]
pub mod geopackage;
#[cfg(feature = "geoparquet")]
pub mod geoparquet;
#[cfg(feature = "kml")]
pub mod kml;
// Only a format that can be read compares geometries.
#[cfg(feature = "map")]
#[cfg_attr(not(feature = "geojson"), allow(dead_code))]
mod map;
#[cfg(feature = "xlsx")]
pub mod xlsx;
#[cfg(feature = "xml")]
pub mod xml;

pub use account::{Account, At, End, Entry, Remark, Totals};
pub use error::{ConvertError, InvalidDocument, PlacedProblem, Problems};
pub use format::{
    Capabilities, Container, Create, CreateFile, Detection, Folder, Format, FormatError,
    FormatOption, Formats, Input, MemoryFolder, Open, Output, Sample, WriteSeek,
};
pub use limits::ZipLimits;
pub use loss::{Loss, LossKind, LossReport, Note};
pub use obvert_model::Location;
use obvert_model::tables::Document;
pub use source::{
    Diagnosis, DocumentRuns, Locations, Provenance, Source, SurveyReader, WholeReader, collect,
};
pub use source_map::SourceMap;

/// A document, and the locations of its values.
#[derive(Clone, Debug)]
pub struct Survey {
    /// The document.
    pub document: Document,
    /// The locations of its values.
    pub places: SourceMap,
}

/// Turns the value that a reader assembled into a document, or reports every structural problem
/// with its location.
#[cfg(any(feature = "tables", feature = "geojson", feature = "xml"))]
pub(crate) fn typed(value: serde_json::Value, places: SourceMap) -> Result<Survey, ConvertError> {
    use serde::Deserialize;

    let problems = match Document::deserialize(&value) {
        // The typed reader sees one row at a time, so it cannot find ids that repeat in a table.
        Ok(document) => match obvert_model::read::duplicate_ids(&document) {
            problems if problems.is_empty() => return Ok(Survey { document, places }),
            problems => problems,
        },
        #[cfg(not(feature = "diagnose"))]
        Err(first) => return Err(ConvertError::Format { place: None, message: first.to_string() }),
        #[cfg(feature = "diagnose")]
        Err(first) => match obvert_model::read::value_problems(&value) {
            problems if problems.is_empty() => {
                return Err(ConvertError::Format { place: None, message: first.to_string() });
            }
            problems => problems,
        },
    };
    let placed = problems.into_iter().map(|mut problem| {
        // The reader of the message has the file, not a pointer.
        if let Some(other) = problem.other.take_if(|other| places.place(other).is_some())
            && let Some(Location { file, line, .. }) = places.place(&other)
        {
            problem.message = format!("{}, first in {file}:{line}", problem.message);
        }
        PlacedProblem { place: places.place(&problem.pointer), problem }
    });
    let placed = placed.collect();
    Err(ConvertError::Structure(Problems::new(placed, Some(InvalidDocument { value, places }))))
}

/// The verdict of [`typed`] on a value, in addition to the problems of its cells.
#[cfg(feature = "tables")]
#[doc(hidden)]
#[derive(Debug)]
pub enum Validated {
    /// The value is valid.
    Valid(Box<Survey>),
    /// The problems that the model finds, and the document as far as it can be read.
    Invalid(Vec<PlacedProblem>, Option<Box<InvalidDocument>>),
}

/// As [`typed`], for a value in whose cells a reader has found problems. Other
/// structural errors of the value can be consequences of those.
///
/// # Errors
/// When the value cannot be validated, and the reader of cells found nothing.
#[cfg(feature = "tables")]
#[doc(hidden)]
pub fn typed_with(
    value: serde_json::Value,
    places: SourceMap,
    own: &[PlacedProblem],
) -> Result<Validated, ConvertError> {
    Ok(match typed(value, places) {
        Ok(survey) if own.is_empty() => Validated::Valid(Box::new(survey)),
        Ok(survey) => {
            let value = serde_json::to_value(&survey.document).unwrap_or_default();
            Validated::Invalid(
                Vec::new(),
                Some(Box::new(InvalidDocument { value, places: survey.places })),
            )
        }
        Err(ConvertError::Structure(found)) => {
            let (found, rest) = found.into_parts();
            Validated::Invalid(found, rest.map(Box::new))
        }
        Err(other) if own.is_empty() => return Err(other),
        Err(_) => Validated::Invalid(Vec::new(), None),
    })
}

// Tests the example in it.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
