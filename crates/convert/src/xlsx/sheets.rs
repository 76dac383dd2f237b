//! Any workbook as sheets of typed cells, for readers of other tables than those of this format.
//!
//! ```
//! use obvert_convert::{ZipLimits, xlsx, xlsx::sheets::Sheets};
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
//! # let document = obvert_model::read::document(source)?;
//! # let mut file = Vec::new();
//! # xlsx::write(&document, &mut file)?;
//! let mut sheets = Sheets::open(&file, "survey.xlsx", ZipLimits::DEFAULT)?;
//! assert!(sheets.names().iter().any(|name| name == "runs"));
//! assert_eq!(sheets.rows("runs")?.len(), 2);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::io::Cursor;
use std::ops::RangeInclusive;

use calamine::{Reader, Xlsx};

use super::ZipLimits;
use super::read::open_any;
use super::rows::{Found, cells_of};
use crate::ConvertError;

/// A workbook whose sheets are read one at a time.
pub struct Sheets<'b> {
    book: Xlsx<Cursor<&'b [u8]>>,
}

impl std::fmt::Debug for Sheets<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Sheets").field("names", &self.names()).finish()
    }
}

/// A row of a sheet that is not empty.
#[non_exhaustive]
#[derive(Clone, Debug, PartialEq)]
pub struct SheetRow {
    /// Its number, from 1.
    pub number: usize,
    /// Its cells, from the first column to the last that is not empty.
    pub cells: Vec<SheetCell>,
}

/// The content of a cell.
#[derive(Clone, Debug, PartialEq)]
pub enum SheetCell {
    /// Empty.
    Empty,
    /// Text.
    Text(String),
    /// A number.
    Number(f64),
    /// A number shown as a percentage, as shown: 8 for a cell that shows 8 % and stores 0.08.
    Percent(f64),
    /// A boolean.
    Bool(bool),
    /// A date, a time of day or a duration.
    Moment(SheetMoment),
    /// An error, as the sheet shows it.
    Error(String),
    /// A formula, without the equals sign. Its cached result is not read.
    Formula(String),
}

/// A date, a time of day or a duration in a cell. Workbooks count days, so 30 minutes and half past
/// midnight are the same number.
#[non_exhaustive]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SheetMoment {
    /// The number of days in the cell.
    pub days: f64,
    /// Whether the cell has a date, not only a time of day or a duration.
    pub has_date: bool,
    /// Year, month and day.
    pub date: (u16, u8, u8),
    /// Hour, minute and second.
    pub time: (u8, u8, u8),
}

/// Cells that are merged into one.
#[non_exhaustive]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MergedCells {
    /// The rows, from 1.
    pub rows: RangeInclusive<usize>,
    /// The columns, from 0.
    pub columns: RangeInclusive<usize>,
}

impl<'b> Sheets<'b> {
    /// Opens a workbook. Messages call it `name`.
    ///
    /// # Errors
    /// When it is not a workbook, or is beyond the limits for unpacking.
    pub fn open(workbook: &'b [u8], name: &str, limits: ZipLimits) -> Result<Self, ConvertError> {
        Ok(Self { book: open_any(workbook, name, limits)? })
    }

    /// The names of the sheets, in their order.
    #[must_use]
    pub fn names(&self) -> Vec<String> {
        self.book.sheet_names()
    }

    /// The rows of a sheet that are not empty.
    ///
    /// # Errors
    /// When the sheet cannot be read.
    pub fn rows(&mut self, sheet: &str) -> Result<Vec<SheetRow>, ConvertError> {
        let rows = cells_of(&mut self.book, sheet)?.into_iter();
        Ok(rows
            .map(|(number, row)| SheetRow {
                number,
                cells: row.cells.into_iter().map(cell).collect(),
            })
            .collect())
    }

    /// The merged cells of a sheet; none if the workbook does not list them.
    #[must_use]
    pub fn merged(&mut self, sheet: &str) -> Vec<MergedCells> {
        let all = self.book.merge_cells_by_sheet_name(sheet).unwrap_or_default().into_iter();
        all.map(|range| MergedCells {
            rows: range.start.0 as usize + 1..=range.end.0 as usize + 1,
            columns: range.start.1 as usize..=range.end.1 as usize,
        })
        .collect()
    }
}

fn cell(found: Found) -> SheetCell {
    match found {
        Found::Empty => SheetCell::Empty,
        Found::Text(text) => SheetCell::Text(text),
        Found::Number(number) => SheetCell::Number(number),
        Found::Percent(number) => SheetCell::Percent(number),
        Found::Bool(truth) => SheetCell::Bool(truth),
        Found::Moment(moment) => {
            let (year, month, day, hour, minute, second, _) = moment.to_ymd_hms_milli();
            let days = moment.as_f64();
            let has_date = moment.is_datetime() && days >= 1.0;
            SheetCell::Moment(SheetMoment {
                days,
                has_date,
                date: (year, month, day),
                time: (hour, minute, second),
            })
        }
        Found::Error(error) => SheetCell::Error(error.to_string()),
        Found::Formula(formula) => SheetCell::Formula(formula),
    }
}
