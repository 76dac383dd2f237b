//! An office's own table, workbook or XML file of pipe inspections, read, written and drafted by a
//! layout ([`obvert_model::layout`]): usually one row per observation, which repeats the data of
//! its pipe and run.
//!
//! - Rows with the same `pipes.id` belong to one pipe, rows with the same `runs.id` to one run, in
//!   the order of the file. They must have the same values for it. Structures are the ends of
//!   pipes; media are the files that columns name.
//! - The table can be text, a sheet of a workbook (feature `xlsx`) or an XML file.
//! - A cell that cannot be read is a problem with its row, its column, the text found and the text
//!   expected. All problems are reported at once.
//! - A written file can be read by the same layout. The loss report lists the values that reading
//!   does not give back, so it is empty if and only if the table holds everything.
//!
//! ```
//! use obvert_layout::{draft, read};
//!
//! let table = b"Pipe,Run,Direction,From,To,Distance,Observation\nL-101,R-1,downstream,LM-014,LM-015,31.5,crack.longitudinal\n";
//! let draft = draft(table, "rows.csv")?;
//! assert_eq!(draft.layout.columns.len(), 7);
//! let (survey, losses) = read(table, "rows.csv", &draft.layout, &[])?;
//! assert_eq!(survey.document.runs[0].observations[0].at.get(), 31.5);
//! # let _ = losses;
//! # Ok::<(), obvert_convert::ConvertError>(())
//! ```

#![cfg_attr(docsrs, feature(doc_cfg))]

mod cell;
mod detect;
mod draft;
mod encoding;
mod grid;
mod needs;
mod plan;
mod read;
mod units;
mod write;

pub use draft::{Draft, Drafted, draft, draft_sheet};
pub use grid::{Grid, GridCell, GridRow, Kept};
pub use read::{read, read_rows};
pub use write::write;
#[cfg(feature = "xlsx")]
pub use write::write_workbook;

use serde_json::Value;

/// The time of issue in a draft for a table without one: older than any survey, so that it is not
/// taken for a real one.
const PLACEHOLDER_ISSUED: &str = "2000-01-01T00:00:00Z";

/// A value as the text of a cell.
fn as_text(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

// Tests the example in it.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
