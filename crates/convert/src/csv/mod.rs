//! CSV tables: a folder or a zip archive with one file per table, which an office can open in a
//! spreadsheet and any tool can validate by the `datapackage.json` next to them. Lossless in both
//! directions.
//!
//! ```
//! use obvert_convert::csv;
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
//! # let document = obvert_model::read::document(source)?;
//! let (files, _) = csv::write(&document)?;
//! assert!(files.iter().any(|(name, _)| name == "runs.csv"));
//! assert_eq!(csv::read(&files, "survey")?.document, document);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Mapping
//! Every table of the document is a file with its name: `pipes.csv`, `runs.csv`. The fields of the
//! document itself are the single row of `document.csv`.
//! - The heading of a column is the keys of the value, joined by dots: `clock.at`, `counter.zero`.
//!   A position has two columns, `position.x` (easting or longitude) and `position.y`.
//! - A list of objects or positions in a row is a table of its own, whose first columns name the
//!   row: `observations.csv` starts with `run`, `quantities.csv` and `observation_media.csv` with
//!   `run` and `observation`, `counter_checks.csv` with `run`, `pipe_paths.csv` with `pipe`. Rows
//!   with an id keep the order of the file; all others have a column `order` and can be sorted
//!   freely.
//! - A list of texts is one cell, with semicolons between the items (`A;B`). A semicolon or
//!   backslash in an item is preceded by a backslash.
//! - Extensions are one JSON object in a cell. A bare `{}` means that the object exists, but none
//!   of its values is known.
//! - An empty cell is an absent value. Booleans are `true` or `false`; the other spellings of Table
//!   Schema are read too.
//! - Numbers are written in the shortest form that reads back as the same number, with a decimal
//!   point.
//! - Text that a spreadsheet would run as a formula, because it starts with `=`, `+`, `-`, `@`,
//!   TAB, CR, LF or NUL, is written with a leading apostrophe; so is text with apostrophes before
//!   such a character. Reading removes one apostrophe. Other text that starts with an apostrophe is
//!   not changed.
//!
//! # Syntax
//! RFC 4180 in UTF-8, with lines ending in CRLF and no byte-order mark; a byte-order mark and other
//! line ends are read. Every table is written with all its columns, even if it has no rows.
//! `document.csv` must exist when tables are read, and every other table may be missing; columns
//! may be in any order, and empty columns may be left out. Unknown tables and columns, rows with
//! too few or too many cells, and rows that belong to no other row are errors. Cells separated by
//! semicolons or tabs are refused: they come with decimal commas, which a reader cannot distinguish
//! from separators without guessing.
//!
//! `datapackage.json` is written for other tools (Data Package v2: types, vocabularies, ranges,
//! patterns, primary and foreign keys) and is not read: the tables contain everything, and an
//! outdated description must not change their meaning.

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
    description: "A folder with one CSV file per table and a datapackage.json.",
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

/// The file name of a table.
fn file_of(table: &Table) -> String {
    format!("{}.csv", table.name)
}
