//! The formats in which a survey is read and written, and what converts between them.
//!
//! A format is a folder of this crate and a line of its registry, [`Formats`]: how it is detected,
//! opened, written, and what it can do. Opening a file gives a [`Source`], which is read run by run
//! or as a whole [`Survey`]: the document, and a [`SourceMap`] from its JSON Pointers to the file,
//! row and column that each value came from. A writer takes runs one at a time from any reader and
//! gives back a [`LossReport`] with what the format could not hold. The report of a format that is
//! lossless is always empty.
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
//! Readers take bytes and writers write to a sink or a folder that the caller makes. Nothing here
//! touches a file system, but for what libraries underneath keep in the system's folder for
//! temporary files until a workbook or a GeoPackage is complete.

#![cfg_attr(docsrs, feature(doc_cfg))]

mod account;
mod error;
mod format;
mod limits;
mod loss;
mod position;
mod source;
mod source_map;

pub mod json;
pub mod recode;

// Each format uses a part of it, all of them the whole.
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
// Only the format that is read back compares geometries.
#[cfg(feature = "map")]
#[cfg_attr(not(feature = "geojson"), allow(dead_code))]
mod map;
#[cfg(feature = "xlsx")]
pub mod xlsx;
#[cfg(feature = "xml")]
pub mod xml;

pub use account::{Account, At, End, Entry, Remark, Totals};
pub use error::{ConvertError, PlacedProblem, Problems, Unsound};
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

/// A document that was read, and where its values came from.
#[derive(Clone, Debug)]
pub struct Survey {
    /// The document.
    pub document: Document,
    /// Where its values came from.
    pub places: SourceMap,
}

/// Turns a value that a reader has put together into a document, or reports every structural
/// problem with its place.
#[cfg(any(feature = "tables", feature = "geojson", feature = "xml"))]
pub(crate) fn typed(value: serde_json::Value, places: SourceMap) -> Result<Survey, ConvertError> {
    use serde::Deserialize;

    let problems = match Document::deserialize(&value) {
        // The typed reader sees one row at a time; ids that stand twice show over a whole table.
        Ok(document) => match obvert_model::read::duplicate_ids(&document) {
            problems if problems.is_empty() => return Ok(Survey { document, places }),
            problems => problems,
        },
        #[cfg(not(feature = "diagnose"))]
        Err(first) => return Err(ConvertError::Form { place: None, message: first.to_string() }),
        #[cfg(feature = "diagnose")]
        Err(first) => match obvert_model::read::value_problems(&value) {
            problems if problems.is_empty() => {
                return Err(ConvertError::Form { place: None, message: first.to_string() });
            }
            problems => problems,
        },
    };
    let placed = problems.into_iter().map(|mut problem| {
        // Whoever reads this has the file and no pointers.
        if let Some(other) = problem.other.take_if(|other| places.place(other).is_some())
            && let Some(Location { file, line, .. }) = places.place(&other)
        {
            problem.message = format!("{}, first in {file}:{line}", problem.message);
        }
        PlacedProblem { place: places.place(&problem.pointer), problem }
    });
    let placed = placed.collect();
    Err(ConvertError::Structure(Problems::new(placed, Some(Unsound { value, places }))))
}

/// What [`typed`] says of a value beside the problems that its cells had already.
#[cfg(feature = "tables")]
#[doc(hidden)]
#[derive(Debug)]
pub enum Judged {
    /// There is nothing wrong.
    Sound(Box<Survey>),
    /// What the model finds besides, and what can be read of the value.
    Unsound(Vec<PlacedProblem>, Option<Box<Unsound>>),
}

/// As [`typed`], of a value of which a reader of cells has problems of its own to tell. Where it
/// has, whatever else is wrong with the structure of the value follows from them.
///
/// # Errors
/// When the value cannot be judged, and the reader of cells found nothing.
#[cfg(feature = "tables")]
#[doc(hidden)]
pub fn typed_beside(
    value: serde_json::Value,
    places: SourceMap,
    own: &[PlacedProblem],
) -> Result<Judged, ConvertError> {
    Ok(match typed(value, places) {
        Ok(survey) if own.is_empty() => Judged::Sound(Box::new(survey)),
        Ok(survey) => {
            let value = serde_json::to_value(&survey.document).unwrap_or_default();
            Judged::Unsound(Vec::new(), Some(Box::new(Unsound { value, places: survey.places })))
        }
        Err(ConvertError::Structure(found)) => {
            let (found, rest) = found.into_parts();
            Judged::Unsound(found, rest.map(Box::new))
        }
        Err(other) if own.is_empty() => return Err(other),
        Err(_) => Judged::Unsound(Vec::new(), None),
    })
}

// Tests the example in it.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
