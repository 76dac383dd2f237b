//! Rows of cells with their locations, from any file: delimited text, XML elements, or a sheet of a
//! workbook. The meaning of the cells is defined by the layout.

pub(crate) mod text;
#[cfg(feature = "xlsx")]
pub(crate) mod workbook;
#[cfg(feature = "xlsx")]
pub(crate) mod workbook_write;
pub(crate) mod xml;
pub(crate) mod xml_write;

use obvert_convert::{ConvertError, Location};
use obvert_model::layout::TableForm;

use crate::plan::Plan;

/// The rows of a file.
///
/// # Errors
/// When it cannot be read as the layout says.
pub(crate) fn of_file(source: &[u8], name: &str, plan: &Plan<'_>) -> Result<Grid, ConvertError> {
    match (&plan.layout.table, &plan.layout.xml) {
        #[cfg(feature = "xlsx")]
        (Some(table), _) if workbook::is_one(source) => workbook::read(source, name, plan, table),
        (Some(table), _) => text::read(source, name, plan, table),
        (None, Some(xml)) => xml::read(source, name, plan, xml),
        (None, None) => {
            let id = &plan.layout.id;
            let message = format!("the layout {id} has neither table nor xml; add one of them");
            Err(ConvertError::Refused { message })
        }
    }
}

/// An error at a line of a file.
pub(crate) fn refuse(file: &str, line: usize, message: impl Into<String>) -> ConvertError {
    let place = Location { file: file.to_owned(), line, column: None, heading: None };
    ConvertError::Format { place: Some(place), message: message.into() }
}

/// Rows with headings.
#[derive(Clone, Debug, Default)]
pub struct Grid {
    /// The headings, trimmed.
    pub headings: Vec<String>,
    /// The line or row of the headings, from 1; 0 for XML, whose headings are paths.
    pub heading_line: usize,
    /// The rows, in the order of the file.
    pub rows: Vec<GridRow>,
    /// The rows above the headings that are not blank. They are not read, and reported.
    pub above: Vec<GridRow>,
    /// The name of the sheet, if the file is a workbook.
    pub sheet: Option<String>,
    /// Notes of the reader, such as assumptions, in lower case without a full stop.
    pub notes: Vec<String>,
}

/// A row.
#[derive(Clone, Debug, Default)]
pub struct GridRow {
    /// The line or row, from 1.
    pub line: usize,
    /// Its cells. A number is text as the layout's columns expect it, with the layout's decimal
    /// separator.
    pub cells: Vec<GridCell>,
    /// Why its cells are not reliable, if they are not; in lower case without a full stop.
    pub flaw: Option<String>,
    /// The number of the column with the flaw, from 1; 0 if the flaw is one of the row.
    pub flawed: usize,
}

/// A cell.
#[derive(Clone, Debug, Default)]
pub struct GridCell {
    /// Its text; blank for an empty cell.
    pub text: String,
    /// The line, from 1.
    pub line: usize,
    /// The number of the column in a table, from 1; in XML the column in the line.
    pub column: usize,
    /// Additional content of a spreadsheet cell; few cells have any.
    pub kept: Option<Box<Kept>>,
}

/// The content of a spreadsheet cell beyond its text.
#[derive(Clone, Debug, Default)]
pub struct Kept {
    /// The number before the percent sign, for a number that is shown as a percentage: 8 for a cell
    /// that stores 0.08 and shows 8 %.
    pub percent: Option<f64>,
    /// The date and the time of day of the cell, if the text does not show all of it: `2026-06-09
    /// 09:15:30` for a cell that shows `09:15`.
    pub timestamp: Option<String>,
}

impl GridCell {
    /// The number of a percentage.
    pub(crate) fn percent(&self) -> Option<f64> {
        self.kept.as_ref()?.percent
    }

    /// The timestamp, if the text does not show all of it.
    pub(crate) fn timestamp(&self) -> Option<&str> {
        self.kept.as_ref()?.timestamp.as_deref()
    }
}

/// The location of a value: line and column as in [`GridCell`], and the number of its heading; 0 if
/// there is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Origin {
    pub(crate) line: usize,
    pub(crate) column: usize,
    pub(crate) heading: usize,
}

impl Origin {
    /// The location of a row.
    pub(crate) const fn line(line: usize) -> Self {
        Self { line, column: 0, heading: 0 }
    }
}

impl Grid {
    /// A grid of all rows of a table or sheet, including blank ones: the headings are in the rows
    /// that the layout names; blank rows below them are skipped.
    ///
    /// # Errors
    /// When the row of headings is blank.
    pub fn under_headings(mut rows: Vec<GridRow>, table: &TableForm) -> Result<Self, String> {
        let before = table.heading_row.unwrap_or(1).saturating_sub(1) as usize;
        let deep = table.heading_rows.unwrap_or(1).max(1) as usize;
        let there = rows
            .get(before..before.saturating_add(deep))
            .is_some_and(|above| !above.iter().all(GridRow::is_blank));
        if !there {
            return Err("there is no row of headings; check that this is the right file".to_owned());
        }
        let mut body = rows.split_off(before + deep);
        body.retain(|row| row.flaw.is_some() || !row.is_blank());
        let heads = rows.split_off(before);
        rows.retain(|row| !row.is_blank());
        let line = heads.last().map_or(0, |row| row.line);
        Ok(Self {
            headings: headings(&heads),
            heading_line: line,
            rows: body,
            above: rows,
            sheet: None,
            notes: Vec::new(),
        })
    }
}

impl GridRow {
    /// Its cells that are not blank, as one text.
    pub(crate) fn text(&self) -> String {
        let cells = self.cells.iter().map(|cell| cell.text.trim());
        cells.filter(|text| !text.is_empty()).collect::<Vec<_>>().join(" | ")
    }

    /// Whether it is blank.
    #[must_use]
    pub fn is_blank(&self) -> bool {
        self.cells.iter().all(|cell| cell.text.trim().is_empty())
    }
}

/// The headings, from several rows: a blank cell with a cell below it gets the text to its left.
pub(crate) fn headings(rows: &[GridRow]) -> Vec<String> {
    let text = |row: &GridRow, column: usize| {
        row.cells.get(column).map_or("", |cell| cell.text.trim()).to_owned()
    };
    let wide = rows.iter().map(|row| row.cells.len()).max().unwrap_or(0);
    let Some((last, above)) = rows.split_last() else { return Vec::new() };
    let mut merged = vec![String::new(); above.len()];
    let mut found: Vec<String> = (0..wide)
        .map(|column| {
            let lowest = text(last, column);
            let mut parts = Vec::new();
            for (row, merged) in above.iter().zip(&mut merged) {
                let own = text(row, column);
                if !own.is_empty() {
                    merged.clone_from(&own);
                }
                // Without a cell below it, the column has its heading in the rows above only.
                parts.push(if lowest.is_empty() { own } else { merged.clone() });
            }
            parts.push(lowest);
            parts.retain(|part| !part.is_empty());
            parts.join("\n")
        })
        .collect();
    // Spreadsheets write cells far beyond the last heading.
    while found.last().is_some_and(String::is_empty) {
        found.pop();
    }
    found
}
