//! An office's own table, workbook or XML file of pipe inspections, read, written and drafted by a
//! layout ([`obvert_model::layout`]): usually one row per observation, with what is known of its
//! pipe and run repeated in every row.
//!
//! - Rows with the same `pipes.id` belong to one pipe, rows with the same `runs.id` to one run, in
//!   the order of the file, and must agree on what they say of it. Structures come from the pipes'
//!   ends, media from the columns that name them.
//! - The table can be text, a sheet of a workbook (feature `xlsx`) or an XML file.
//! - A cell that cannot be read is a problem with its row, its column, the text found and what was
//!   expected. All problems are reported at once.
//! - Whatever is written is read again by the same layout. The loss report lists what does not come
//!   back, so it is empty exactly when the table holds everything.

#![cfg_attr(docsrs, feature(doc_cfg))]

mod cell;
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

/// When a record was issued, in a draft of a table that does not say it: no survey is as old, so
/// nobody takes it for true.
const NOT_SAID: &str = "2000-01-01T00:00:00Z";

/// A value as a text has it.
fn as_text(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

// Tests the example in it.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
