//! A survey as tables: the tables and columns, their units, and typed rows from any reader of runs.
//!
//! ```
//! use obvert_convert::{DocumentRuns, tables::TableRows};
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
//! # let document = obvert_model::read::document(source)?;
//! let mut survey = DocumentRuns::new(&document);
//! let mut rows = TableRows::new(&mut survey);
//! while let Some(row) = rows.next_row()? {
//!     println!("{}: {:?}", row.table.name(), row.cells);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! The CSV tables, the workbook and the GeoPackage are files with these tables; [`TableRows`] gives
//! the rows without a file.

// Internally: the values of a row, and how rows become a document again. The formats differ only in
// how cells are stored: a text file, a sheet, a table of a database.

use std::borrow::Cow;

pub(crate) mod assemble;
pub(crate) mod cell;
pub(crate) mod keys;
mod loaded;
mod nest;
pub(crate) mod plan;
mod runs;
mod sheet;
pub(crate) mod source;
mod typed;
pub(crate) mod unknown_table;
pub(crate) mod walk;

pub use typed::{Cell, Column, ColumnKind, Row, Table, TableRows, tables};

use crate::ConvertError;
use cell::CellError;

/// The rows of a table.
pub(crate) trait Rows {
    /// A row.
    type Row: Record;
    /// The headings, in the order of the columns.
    fn headings(&self) -> impl Iterator<Item = &str>;
    /// Whether a column is skipped because it has neither a heading nor any values.
    fn is_blank(&self, _column: usize) -> bool {
        false
    }
    /// The next row that is not empty, and its number: the line or row in which its author finds
    /// it.
    fn next_row(&mut self) -> Result<Option<(usize, &Self::Row)>, ConvertError>;
}

/// A row as it was read. Columns are numbered from 0, as the headings are.
pub(crate) trait Record {
    /// The cell in a column.
    fn cell(&self, number: usize, column: &plan::Column) -> Result<cell::Cell<'_>, CellError>;
    /// The text of a cell that names a row.
    fn name(&self, number: usize) -> Cow<'_, str>;
    /// The cell as text, as its author sees it.
    fn shown(&self, number: usize) -> Cow<'_, str>;
}
