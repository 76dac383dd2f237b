//! Converters between obvert documents and the forms that offices read.
//!
//! A folder a form, each with a reader, a writer and the mapping between them. A reader gives back a
//! [`Survey`]: the document, and a [`SourceMap`] from its JSON Pointers to the file, row and column that each value
//! came from, so that a finding on the document can be shown where its author will look. A writer gives back a
//! [`LossReport`]: what the form could not hold. The forms that are called lossless have an empty one, always.
//!
//! Readers take bytes and writers give them back or write to a sink, whole or a run at a time (`read_stream`, `write_stream`). Nothing
//! here touches a file system, but for what libraries underneath keep in the system's folder for temporary files until a workbook or
//! a GeoPackage is complete.

mod account;
mod error;
mod flow;
mod loss;
mod source_map;

pub mod recode;

// Each form uses a part of it, all of them the whole.
#[cfg(feature = "tables")]
#[cfg_attr(not(all(feature = "csv", feature = "geopackage", feature = "xlsx")), allow(dead_code))]
mod tables;
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
// Only the form that is read back compares geometries.
#[cfg(feature = "map")]
#[cfg_attr(not(feature = "geojson"), allow(dead_code))]
mod map;
#[cfg(feature = "xlsx")]
pub mod xlsx;
#[cfg(feature = "xml")]
pub mod xml;

pub use account::{Account, At, End, Entry, Remark, Totals};
pub use error::{ConvertError, PlacedProblem, Problems, Unsound};
pub use flow::{Each, hand_over};
pub use loss::{Loss, LossKind, LossReport, Note};
pub use source_map::SourceMap;
#[cfg(feature = "tables")]
#[doc(hidden)]
pub use tables::read::nearest;

pub use obvert_model::Location;
use obvert_model::tables::Document;

/// A document that was read from another form, and where its values came from.
#[derive(Clone, Debug)]
pub struct Survey {
    /// The document.
    pub document: Document,
    /// Where its values came from.
    pub places: SourceMap,
}

/// Turns a value that a reader has put together into a document, or reports every structural problem with its place.
#[cfg(any(feature = "tables", feature = "geojson", feature = "xml"))]
pub(crate) fn typed(value: serde_json::Value, places: SourceMap) -> Result<Survey, ConvertError> {
    use serde::Deserialize;

    let problems = match Document::deserialize(&value) {
        // The typed reader sees one row at a time; ids that stand twice show over a whole table.
        Ok(document) => match obvert_model::read::twice(&document) {
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

/// As [`typed`], of a value of which a reader of cells has problems of its own to tell. Where it has, whatever else is wrong
/// with the form of the value follows from them.
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
