//! The survey as CSV tables: a folder or a zip archive with a table a file, which an office can
//! open in a spreadsheet and any tool can validate by the `datapackage.json` beside them. Lossless,
//! both ways.
//!
//! # Which value stands where
//! - Every table of the document is a file by its name: `pipes.csv`, `runs.csv`. What is said once
//!   about the survey is the one row of `document.csv`.
//! - A value is a column headed by its keys with dots between them: `clock.at`, `counter.zero`. A
//!   position is two columns, `position.x` (easting or longitude) and `position.y`.
//! - A list of objects or positions below a row is a table of its own, whose first columns name the
//!   row: `observations.csv` begins with `run`, `quantities.csv` and `observation_media.csv` with
//!   `run` and `observation`, `counter_checks.csv` with `run`, `pipe_paths.csv` with `pipe`. Rows
//!   with an id of their own keep the order of the file; all others have a column `order` and may
//!   be sorted at will.
//! - A list of texts stands in one cell with semicolons between the items (`A;B`); a semicolon or
//!   backslash that belongs to an item has a backslash before it.
//! - Extensions are one JSON object in a cell. A bare `{}` there says that the object is there
//!   though nothing in it is known.
//! - An empty cell is an absent value. Truth is `true` or `false`; the spellings that Table Schema
//!   takes besides are read too.
//! - Numbers are written in the shortest form that reads back as the same number, with a decimal
//!   point, and are never touched otherwise.
//! - Text that a spreadsheet would run as a formula, because it begins with `=`, `+`, `-`, `@`,
//!   TAB, CR, LF or NUL, is written with an apostrophe before it; so is text that has apostrophes
//!   before such a character. Reading takes one off. Other text that begins with an apostrophe is
//!   left alone.
//!
//! # Syntax
//! RFC 4180 in UTF-8, lines ended by CRLF, no byte-order mark; a mark and other line ends are read.
//! Every table is written, with its headings at least, and with all its columns. When read,
//! `document.csv` must be there and every other table may be absent; columns may stand in any
//! order, and those that are empty may be left out. Unknown tables and columns, ragged rows and
//! rows that belong to nothing are errors. Cells separated by semicolons or tabs are refused: the
//! decimal commas that come with them cannot be told from separators by a reader that must not
//! guess.
//!
//! `datapackage.json` is written for other tools (Data Package v2: types, vocabularies, ranges,
//! patterns, primary and foreign keys) and not read: the tables alone say everything, and a
//! description that has gone stale cannot change what they mean.

mod archive;
mod cell;
mod read;
mod records;
mod schema;
mod write;

pub use archive::{read_zip, write_zip, write_zip_runs};
pub use cell::{harmless, plain};
pub use read::read;
pub use schema::table_schemas;
pub use write::{Files, write, write_runs};

use crate::format::{Capabilities, Container, Detection, Folder, Format, Sample};
use crate::tables::plan::{Table, plan};
use crate::unpack;

/// CSV tables in a folder.
pub static FORMAT: Format = Format {
    name: "csv",
    title: "CSV tables",
    description: "A folder with one CSV a table and a datapackage.json.",
    extensions: &["csv"],
    media_type: "text/csv",
    capabilities: Capabilities {
        lossless: true,
        container: Container::Folder(Folder {
            sentence: "CSV tables are a folder",
            file: "CSV table",
            names: || plan().tables.iter().map(file_of).chain([schema::FILE.to_owned()]).collect(),
            reads: |file| read::is_csv(file) || file.to_ascii_lowercase().ends_with(".json"),
            packed: Some("csv-zip"),
        }),
        tabular: true,
        options: &[],
    },
    detect: |sample| match sample {
        Sample::Folder(names) if names.iter().any(|name| read::is_csv(name)) => Detection::Certain,
        _ => Detection::No,
    },
    open: Some(read::open),
    create: Some(write::create),
};

/// The CSV tables in one zip.
pub static ZIP_FORMAT: Format = Format {
    name: "csv-zip",
    title: "CSV tables in a zip",
    description: "The CSV tables in one zip.",
    extensions: &["zip"],
    media_type: "application/zip",
    capabilities: Capabilities {
        lossless: true,
        container: Container::File { seekable: true },
        tabular: true,
        options: &[],
    },
    detect: |sample| match sample {
        Sample::File(bytes) if bytes.starts_with(b"PK") && !unpack::is_workbook(bytes) => {
            Detection::Possible
        }
        _ => Detection::No,
    },
    open: Some(archive::open),
    create: Some(archive::create),
};

/// The name of a table's file.
fn file_of(table: &Table) -> String {
    format!("{}.csv", table.name)
}
