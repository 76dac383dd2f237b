//! Rows of cells, each with the place that it came from, whatever file they were read from: text with delimiters, elements
//! of XML, or a sheet of a workbook. What the cells mean is the layout's to say.

/// Rows under headings.
#[derive(Clone, Debug, Default)]
pub struct Grid {
    /// The headings, trimmed.
    pub headings: Vec<String>,
    /// The line or row, from 1, that the headings stand in; 0 where they are paths and stand nowhere.
    pub heading_line: usize,
    /// The rows, in the order of the file.
    pub rows: Vec<GridRow>,
    /// What its reader found out or assumed and somebody should know: lower case, no full stop.
    pub notes: Vec<String>,
}

/// A row.
#[derive(Clone, Debug, Default)]
pub struct GridRow {
    /// The line or row, from 1.
    pub line: usize,
    /// Its cells. A number is the text that the layout's forms expect, with the layout's decimal mark.
    pub cells: Vec<GridCell>,
    /// Why its cells cannot be trusted, where they cannot: lower case, no full stop.
    pub flaw: Option<String>,
}

/// A cell.
#[derive(Clone, Debug, Default)]
pub struct GridCell {
    /// What stands in it; blank where nothing does.
    pub text: String,
    /// The line, from 1.
    pub line: usize,
    /// The number of the column in a table, from 1; in XML the character in the line.
    pub column: usize,
}

/// Where a value came from: line and column as [`GridCell`] has them, and the number of the heading; 0 where there is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Spot {
    pub(super) line: usize,
    pub(super) column: usize,
    pub(super) heading: usize,
}

impl Spot {
    /// A row as a whole.
    pub(super) const fn line(line: usize) -> Self {
        Self { line, column: 0, heading: 0 }
    }
}

impl GridRow {
    /// Whether nothing stands in it.
    #[must_use]
    pub fn is_blank(&self) -> bool {
        self.cells.iter().all(|cell| cell.text.trim().is_empty())
    }
}
