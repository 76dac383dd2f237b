//! Rows of cells, each with the place that it came from, whatever file they were read from: text
//! with delimiters, elements of XML, or a sheet of a workbook. What the cells mean is the layout's
//! to say.

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
/// When it cannot be read in the way that the layout says.
pub(crate) fn of_file(source: &[u8], name: &str, plan: &Plan<'_>) -> Result<Grid, ConvertError> {
    match (&plan.layout.table, &plan.layout.xml) {
        #[cfg(feature = "xlsx")]
        (Some(table), _) if workbook::is_one(source) => workbook::read(source, name, plan, table),
        (Some(table), _) => text::read(source, name, plan, table),
        (None, Some(xml)) => xml::read(source, name, plan, xml),
        (None, None) => {
            let id = &plan.layout.id;
            let message =
                format!("the layout {id} says neither table nor xml; say how the file is written");
            Err(ConvertError::Refused { message })
        }
    }
}

/// An error at a line of a file.
pub(crate) fn refuse(file: &str, line: usize, message: impl Into<String>) -> ConvertError {
    let place = Location { file: file.to_owned(), line, column: None, heading: None };
    ConvertError::Format { place: Some(place), message: message.into() }
}

/// Rows under headings.
#[derive(Clone, Debug, Default)]
pub struct Grid {
    /// The headings, trimmed.
    pub headings: Vec<String>,
    /// The line or row, from 1, that the headings stand in; 0 where they are paths and stand
    /// nowhere.
    pub heading_line: usize,
    /// The rows, in the order of the file.
    pub rows: Vec<GridRow>,
    /// The sheet that it is, where it stands in a workbook.
    pub sheet: Option<String>,
    /// What its reader found out or assumed and somebody should know: lower case, no full stop.
    pub notes: Vec<String>,
}

/// A row.
#[derive(Clone, Debug, Default)]
pub struct GridRow {
    /// The line or row, from 1.
    pub line: usize,
    /// Its cells. A number is the text that the layout's forms expect, with the layout's decimal
    /// mark.
    pub cells: Vec<GridCell>,
    /// Why its cells cannot be trusted, where they cannot: lower case, no full stop.
    pub flaw: Option<String>,
    /// The number of the column that this is about, from 1; 0 where it is about the row.
    pub flawed: usize,
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
    /// What a spreadsheet keeps beside that, of few cells.
    pub kept: Option<Box<Kept>>,
}

/// What a cell of a spreadsheet holds that its text does not say.
#[derive(Clone, Debug, Default)]
pub struct Kept {
    /// The number before the percent sign, where the cell is a number that is shown as a percentage
    /// and the text is what is shown: 8 for a cell that holds 0.08 and shows 8 %.
    pub percent: Option<f64>,
    /// The day and the time of day that the cell holds, where the text does not say all of it:
    /// `2026-06-09 09:15:30` for one that shows `09:15`.
    pub whole: Option<String>,
}

impl GridCell {
    /// The number that is shown as a percentage.
    pub(crate) fn percent(&self) -> Option<f64> {
        self.kept.as_ref()?.percent
    }

    /// The moment of which the text does not say all.
    pub(crate) fn whole(&self) -> Option<&str> {
        self.kept.as_ref()?.whole.as_deref()
    }
}

/// Where a value came from: line and column as [`GridCell`] has them, and the number of the
/// heading; 0 where there is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Origin {
    pub(crate) line: usize,
    pub(crate) column: usize,
    pub(crate) heading: usize,
}

impl Origin {
    /// A row as a whole.
    pub(crate) const fn line(line: usize) -> Self {
        Self { line, column: 0, heading: 0 }
    }
}

impl Grid {
    /// A grid of all rows of a table or sheet, the blank ones as well: the headings are where the
    /// layout's form says, and blank rows below them are left out.
    ///
    /// # Errors
    /// When nothing stands where the headings should.
    pub fn under_headings(mut rows: Vec<GridRow>, table: &TableForm) -> Result<Self, String> {
        let before = table.heading_row.unwrap_or(1).saturating_sub(1) as usize;
        let deep = table.heading_rows.unwrap_or(1).max(1) as usize;
        let there = rows
            .get(before..before.saturating_add(deep))
            .is_some_and(|above| !above.iter().all(GridRow::is_blank));
        if !there {
            return Err("there is no row of headings; is this the right file?".to_owned());
        }
        let mut body = rows.split_off(before + deep);
        body.retain(|row| row.flaw.is_some() || !row.is_blank());
        let above = &rows[before..];
        let line = above.last().map_or(0, |row| row.line);
        Ok(Self {
            headings: headings(above),
            heading_line: line,
            rows: body,
            sheet: None,
            notes: Vec::new(),
        })
    }
}

impl GridRow {
    /// Whether nothing stands in it.
    #[must_use]
    pub fn is_blank(&self) -> bool {
        self.cells.iter().all(|cell| cell.text.trim().is_empty())
    }
}

/// The headings of rows that stand one below the other: a blank cell above another takes what
/// stands left of it.
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
                // Nothing below it: the column has its heading in the rows above alone.
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
