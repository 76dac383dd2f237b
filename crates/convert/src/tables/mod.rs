//! A survey as tables: which tables and columns there are, in which units, and typed rows from any
//! reader of runs.
//!
//! The CSV tables, the workbook and the GeoPackage are these tables in files; [`TableRows`] gives
//! them without one.

// Within: what a row of a file says, and how rows become a document again. The formats differ only
// in what holds the cells: a file of text, a sheet, a table of a database.

use std::borrow::Cow;

pub(crate) mod assemble;
pub(crate) mod cell;
pub(crate) mod keys;
pub(crate) mod plan;
mod runs;
mod sheet;
pub(crate) mod source;
mod typed;
pub(crate) mod walk;

pub use typed::{Cell, Column, ColumnKind, Row, Table, TableRows, tables};

use crate::ConvertError;
use cell::CellError;

/// What holds the rows of a table.
pub(crate) trait Rows {
    /// A row.
    type Row: Record;
    /// The headings, in the order in which the columns stand.
    fn headings(&self) -> impl Iterator<Item = &str>;
    /// Whether a column has neither a heading nor anything below it, and is passed over.
    fn is_blank(&self, _column: usize) -> bool {
        false
    }
    /// The next row that is not empty, and its number: the line or row in which its author finds
    /// it.
    fn next_row(&mut self) -> Result<Option<(usize, &Self::Row)>, ConvertError>;
}

/// A row as it was found. Columns are numbered from 0 as the headings are.
pub(crate) trait Record {
    /// The cell in a column.
    fn cell(&self, number: usize, column: &plan::Column) -> Result<cell::Cell<'_>, CellError>;
    /// The text of a cell that names a row.
    fn name(&self, number: usize) -> Cow<'_, str>;
    /// The cell as its author sees it, as text.
    fn shown(&self, number: usize) -> Cow<'_, str>;
}
