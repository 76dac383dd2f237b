//! The survey as CSV tables: a folder or a zip archive with a table a file, which an office can open in a spreadsheet
//! and any tool can validate by the `datapackage.json` beside them. Lossless, both ways.
//!
//! # Which value stands where
//! - Every table of the document is a file by its name: `pipes.csv`, `runs.csv`. What is said once about the survey
//!   is the one row of `document.csv`.
//! - A value is a column headed by its keys with dots between them: `clock.at`, `counter.zero`. A position is two
//!   columns, `position.x` (easting or longitude) and `position.y`.
//! - A list of objects or positions below a row is a table of its own, whose first columns name the row:
//!   `observations.csv` begins with `run`, `quantities.csv` and `observation_media.csv` with `run` and `observation`,
//!   `counter_checks.csv` with `run`, `pipe_paths.csv` with `pipe`. Rows with an id of their own keep the order of
//!   the file; all others have a column `order` and may be sorted at will.
//! - A list of texts stands in one cell with semicolons between the items (`A;B`); a semicolon or backslash that
//!   belongs to an item has a backslash before it.
//! - Extensions are one JSON object in a cell. A bare `{}` there says that the object is there though nothing in it
//!   is known.
//! - An empty cell is an absent value. Truth is `true` or `false`; the forms that Table Schema takes beside these are
//!   read too.
//! - Numbers are written in the shortest form that reads back as the same number, with a decimal point, and are never
//!   touched otherwise.
//! - Text that a spreadsheet would run as a formula, because it begins with `=`, `+`, `-`, `@`, TAB, CR, LF or NUL, is
//!   written with an apostrophe before it; so is text that has apostrophes before such a character. Reading takes one
//!   off. Other text that begins with an apostrophe is left alone.
//!
//! # Form
//! RFC 4180 in UTF-8, lines ended by CRLF, no byte-order mark; a mark and other line ends are read. Every table is
//! written, with its headings at least, and with all its columns. When read, `document.csv` must be there and every
//! other table may be absent; columns may stand in any order, and those that are empty may be left out. Unknown
//! tables and columns, ragged rows and rows that belong to nothing are errors. Cells separated by semicolons or tabs
//! are refused: the decimal commas that come with them cannot be told from separators by a reader that must not
//! guess.
//!
//! `datapackage.json` is written for other tools (Data Package v2: types, vocabularies, ranges, patterns, primary and
//! foreign keys) and not read: the tables alone say everything, and a description that has gone stale cannot change
//! what they mean.

mod archive;
mod cell;
mod read;
mod records;
mod schema;
mod write;

pub use crate::unpack::ZipLimits;
pub use archive::{read_zip, read_zip_stream, read_zip_within, write_zip, write_zip_stream};
pub use cell::{harmless, plain};
pub use read::{read, read_stream, read_whole};
pub use schema::table_schemas;
pub use write::{Files, write, write_stream};

use crate::tables::plan::Table;

/// The name of a table's file.
/// The names of the files that a package can have, `datapackage.json` among them.
pub fn file_names() -> impl Iterator<Item = String> {
    crate::tables::plan::plan().tables.iter().map(file_of).chain(["datapackage.json".to_owned()])
}

fn file_of(table: &Table) -> String {
    format!("{}.csv", table.name)
}
