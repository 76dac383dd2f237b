//! One sheet as rows, and the content of its cells. Only cells below a heading are kept, and empty
//! cells take no memory except for their place, so a sheet with one cell in its last corner takes
//! no more memory than a sheet with one in its first.

use std::borrow::{Borrow, Cow};
use std::collections::HashSet;
use std::io::{Cursor, Read, Seek};

use calamine::{
    CellErrorType, DataRef, ExcelDateTime, Xlsx, XlsxCellReader, XlsxError, XlsxFormulaMetadata,
};

use super::percent;
use super::read::{Book, Shared};
use crate::ConvertError;
use crate::tables::assemble::format_error;
use crate::tables::cell::{Cell, CellError, number_of, show};
use crate::tables::plan::{Column, Kind, Moment};
use crate::tables::{Record, Rows};

/// The most columns that the sheet of a table can have.
const WIDEST: u32 = 1024;

/// The content of a cell.
#[derive(Debug)]
pub(super) enum Found {
    Empty,
    Text(String),
    Number(f64),
    /// A number that is shown as a percentage, as shown: 8 if 0.08 is stored and 8 % is shown.
    Percent(f64),
    Bool(bool),
    Moment(ExcelDateTime),
    Error(CellErrorType),
    Formula(String),
}

/// The rows of a sheet.
#[derive(Debug)]
pub(super) struct SheetRows {
    headings: Vec<String>,
    /// Whether a column has neither a heading nor any values.
    blank: Vec<bool>,
    rows: Vec<(usize, SheetRow)>,
}

/// A row of a sheet: its cells from the first column on.
#[derive(Debug, Default)]
pub(super) struct SheetRow {
    pub(super) cells: Vec<Found>,
}

impl SheetRows {
    /// Reads a sheet; `None` for an empty one.
    ///
    /// # Errors
    /// When the sheet cannot be read or does not start with its headings.
    pub(super) fn load<S: Read + Seek>(
        book: &mut Xlsx<S>,
        sheet: &str,
    ) -> Result<Option<Self>, ConvertError> {
        Self::of(cells_of(book, sheet)?, sheet)
    }

    /// Reads a sheet unless it is large.
    ///
    /// # Errors
    /// As [`load`](Self::load).
    pub(super) fn load_small<S: Read + Seek>(
        book: &mut Xlsx<S>,
        sheet: &str,
    ) -> Result<Size, ConvertError> {
        const MOST: usize = 1000;
        let mut cells = Cells::open(book, sheet)?;
        let mut rows = Vec::new();
        while let Some(row) = cells.row()? {
            if rows.len() > MOST {
                return Ok(Size::Large);
            }
            rows.push(row);
        }
        Ok(Size::Small(Self::of(rows, sheet)?))
    }

    fn of(mut rows: Vec<(usize, SheetRow)>, sheet: &str) -> Result<Option<Self>, ConvertError> {
        if rows.is_empty() {
            return Ok(None);
        }
        let (first, headings) = rows.remove(0);
        if first != 1 {
            return Err(format_error(
                sheet,
                1,
                "the row is empty; write the headings in the first row of the sheet",
            ));
        }
        let width = rows
            .iter()
            .map(|(_, row)| row.cells.len())
            .max()
            .unwrap_or_default()
            .max(headings.cells.len());
        let headings: Vec<String> =
            (0..width).map(|column| headings.shown(column).into_owned()).collect();
        let mut blank: Vec<bool> = headings.iter().map(String::is_empty).collect();
        for (_, row) in &rows {
            for (blank, cell) in blank.iter_mut().zip(&row.cells) {
                *blank &= matches!(cell, Found::Empty);
            }
        }
        Ok(Some(Self { headings, blank, rows }))
    }

    /// The headings, in the order of the columns.
    pub(super) fn headings(&self) -> &[String] {
        &self.headings
    }

    /// Its rows from the first on.
    pub(super) fn rows(&self) -> HeldRows<&Self> {
        HeldRows { sheet: self, next: 0 }
    }

    /// Its rows from the first on.
    pub(super) fn into_rows(self) -> HeldRows<Self> {
        HeldRows { sheet: self, next: 0 }
    }
}

/// The rows of a sheet in memory, and the index of the next one.
pub(super) struct HeldRows<S> {
    sheet: S,
    next: usize,
}

/// A sheet that was read, or one that is too large to keep in memory.
pub(super) enum Size {
    Small(Option<SheetRows>),
    Large,
}

/// The rows of a sheet that are not empty, each with its number from 1.
///
/// # Errors
/// When the sheet cannot be read.
pub(super) fn cells_of<S: Read + Seek>(
    book: &mut Xlsx<S>,
    sheet: &str,
) -> Result<Vec<(usize, SheetRow)>, ConvertError> {
    let mut cells = Cells::open(book, sheet)?;
    let mut rows = Vec::new();
    while let Some(row) = cells.row()? {
        rows.push(row);
    }
    Ok(rows)
}

/// A sheet that is read one row at a time.
struct Cells<'b, S: Read + Seek> {
    sheet: &'b str,
    reader: XlsxCellReader<'b, S>,
    /// The cells that show percentages.
    percentages: HashSet<(u32, u32)>,
    /// The first cell of the next row: row, column, and content.
    next: Option<(usize, usize, Found)>,
    /// The number of the last row.
    last: usize,
}

impl<'b, S: Read + Seek> Cells<'b, S> {
    fn open(book: &'b mut Xlsx<S>, sheet: &'b str) -> Result<Self, ConvertError> {
        let failed = |error: XlsxError| unreadable(sheet, &error);
        let percentages = percent::cells(book, sheet).map_err(failed)?;
        let reader = book.worksheet_cells_reader(sheet).map_err(failed)?;
        let mut cells = Self { sheet, reader, percentages, next: None, last: 0 };
        cells.next = cells.cell()?;
        Ok(cells)
    }

    /// The next cell that is not empty.
    fn cell(&mut self) -> Result<Option<(usize, usize, Found)>, ConvertError> {
        let sheet = self.sheet;
        let failed = |error: XlsxError| unreadable(sheet, &error);
        while let Some(record) = self.reader.next_cell_with_formula_metadata().map_err(failed)? {
            let (row, column) = record.pos;
            let is_percentage = self.percentages.contains(&record.pos);
            let found = match record.formula {
                Some(formula) => formula_of(formula),
                None => found(record.value),
            };
            let found = match found {
                Found::Number(number) if is_percentage => {
                    Found::Percent(percent::hundredths(number))
                }
                found => found,
            };
            if matches!(found, Found::Empty) {
                continue;
            }
            let row = row as usize + 1;
            if column >= WIDEST {
                let message = format!(
                    "column {} has a value and is far to the right of all headings; remove the value",
                    column + 1
                );
                return Err(format_error(sheet, row, message));
            }
            return Ok(Some((row, column as usize, found)));
        }
        Ok(None)
    }

    /// The next row that is not empty, with its number.
    fn row(&mut self) -> Result<Option<(usize, SheetRow)>, ConvertError> {
        let Some((number, mut column, mut found)) = self.next.take() else { return Ok(None) };
        if number <= self.last {
            let message =
                "the rows are not in order in the file; open the workbook and save it again";
            return Err(format_error(self.sheet, 1, message));
        }
        self.last = number;
        let mut row = SheetRow::default();
        loop {
            if row.cells.len() <= column {
                row.cells.resize_with(column + 1, || Found::Empty);
            }
            row.cells[column] = found;
            match self.cell()? {
                Some((same, next, value)) if same == number => (column, found) = (next, value),
                other => {
                    self.next = other;
                    return Ok(Some((number, row)));
                }
            }
        }
    }
}

fn unreadable(sheet: &str, error: &XlsxError) -> ConvertError {
    format_error(sheet, 1, format!("the sheet cannot be read: {error}"))
}

/// The rows of a sheet, in memory or not.
pub(super) enum Sheet<'b, 'a> {
    Held(HeldRows<&'b SheetRows>),
    Owned(Box<HeldRows<SheetRows>>),
    Flowing(Box<SheetFlow<'b, 'a>>),
}

/// A sheet whose rows are not in memory.
pub(super) struct SheetFlow<'b, 'a> {
    headings: Vec<String>,
    cells: Cells<'b, Cursor<Shared<'a>>>,
    row: SheetRow,
}

impl<'b, 'a> SheetFlow<'b, 'a> {
    /// Reads the headings of a sheet.
    ///
    /// # Errors
    /// When it cannot be read or does not start with its headings.
    pub(super) fn open(book: &'b mut Book<'a>, sheet: &'b str) -> Result<Self, ConvertError> {
        let mut cells = Cells::open(book, sheet)?;
        let Some((1, row)) = cells.row()? else {
            return Err(format_error(
                sheet,
                1,
                "there are no headings; write them in the first row",
            ));
        };
        let headings = (0..row.cells.len()).map(|column| row.shown(column).into_owned()).collect();
        Ok(Self { headings, cells, row })
    }

    fn next_row(&mut self) -> Result<Option<(usize, &SheetRow)>, ConvertError> {
        let Some((number, row)) = self.cells.row()? else { return Ok(None) };
        if row.cells.len() > self.headings.len() {
            return Err(format_error(
                self.cells.sheet,
                number,
                "a value has no heading; add the heading, or remove the value",
            ));
        }
        self.row = row;
        Ok(Some((number, &self.row)))
    }
}

impl<S: Borrow<SheetRows>> HeldRows<S> {
    fn next_row(&mut self) -> Option<(usize, &SheetRow)> {
        let row = self.sheet.borrow().rows.get(self.next);
        self.next += 1;
        row.map(|(number, row)| (*number, row))
    }
}

impl Sheet<'_, '_> {
    /// The sheet, if it is in memory.
    fn held(&self) -> Option<&SheetRows> {
        match self {
            Self::Held(rows) => Some(rows.sheet),
            Self::Owned(rows) => Some(&rows.sheet),
            Self::Flowing(_) => None,
        }
    }
}

impl Rows for Sheet<'_, '_> {
    type Row = SheetRow;
    fn headings(&self) -> impl Iterator<Item = &str> {
        let headings = match self {
            Self::Flowing(rows) => &rows.headings,
            Self::Held(rows) => &rows.sheet.headings,
            Self::Owned(rows) => &rows.sheet.headings,
        };
        headings.iter().map(String::as_str)
    }
    fn is_blank(&self, column: usize) -> bool {
        self.held().and_then(|sheet| sheet.blank.get(column)).copied().unwrap_or_default()
    }
    fn next_row(&mut self) -> Result<Option<(usize, &SheetRow)>, ConvertError> {
        match self {
            Self::Flowing(rows) => rows.next_row(),
            Self::Held(rows) => Ok(rows.next_row()),
            Self::Owned(rows) => Ok(rows.next_row()),
        }
    }
}

fn formula_of(formula: XlsxFormulaMetadata) -> Found {
    Found::Formula(match formula {
        XlsxFormulaMetadata::Normal { formula } | XlsxFormulaMetadata::Shared { formula, .. } => {
            formula
        }
        _ => String::new(),
    })
}

fn found(value: DataRef<'_>) -> Found {
    match value {
        DataRef::Empty => Found::Empty,
        DataRef::Int(number) => Found::Number(number as f64),
        DataRef::Float(number) => Found::Number(number),
        DataRef::SharedString("") => Found::Empty,
        DataRef::SharedString(text) => Found::Text(text.to_owned()),
        DataRef::String(text) if text.is_empty() => Found::Empty,
        DataRef::String(text) | DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => {
            Found::Text(text)
        }
        DataRef::Bool(truth) => Found::Bool(truth),
        DataRef::DateTime(moment) => Found::Moment(moment),
        DataRef::Error(error) => Found::Error(error),
    }
}

impl Record for SheetRow {
    fn cell(&self, number: usize, column: &Column) -> Result<Cell<'_>, CellError> {
        let wrong = |message: String| Err(CellError::Kind(message));
        let text = matches!(column.kind, Kind::Text | Kind::Word(_) | Kind::List(_));
        match self.found(number) {
            Found::Empty => Ok(Cell::Empty),
            Found::Text(text) => Ok(Cell::of_text(text.as_str())),
            Found::Number(_) if column.moment() == Some(Moment::Day) => {
                let found = self.shown(number);
                wrong(format!(
                    "{found} is a number; format the cell as a date, or format it as text and write 2026-05-06"
                ))
            }
            // A spreadsheet keeps the first fifteen digits of a long number.
            Found::Number(number) if text && number.abs() >= 1e15 => wrong(format!(
                "{number} is a number with more digits than a spreadsheet keeps, and the column holds text; format the cell as text and type it again"
            )),
            Found::Number(number) => match number_of(*number) {
                Some(number) => Ok(Cell::Number(number)),
                None => wrong(format!("{number} is not a valid number")),
            },
            Found::Percent(_) => wrong(format!(
                "the cell shows {}, since it is formatted as a percentage, and holds a hundredth of that; format it as {} and type it \
                 again",
                self.shown(number),
                if text { "text" } else { "a number" }
            )),
            Found::Bool(truth) if text => Ok(Cell::of_text(if *truth { "TRUE" } else { "FALSE" })),
            Found::Bool(truth) => Ok(Cell::Bool(*truth)),
            Found::Moment(moment) => match column.moment() {
                Some(Moment::Day) if moment.is_datetime() && moment.as_f64().fract() == 0.0 => {
                    Ok(Cell::of_text(day(*moment)))
                }
                Some(Moment::Day) => {
                    wrong(format!("{} is not a date; write 2026-05-06", self.shown(number)))
                }
                Some(Moment::Time) => {
                    let shown = self.shown(number);
                    wrong(format!(
                        "{shown} does not say its offset from UTC, which a date cell cannot; format the cell as text and write it with the \
                         offset of the place, such as {}-05:00",
                        shown.replacen(' ', "T", 1)
                    ))
                }
                // Less than a day is a time of day or a duration, which programs make of text that
                // looks like one.
                None if moment.as_f64() < 1.0 => {
                    let seconds = (moment.as_f64() * 86_400.0).round();
                    wrong(format!(
                        "the cell has a time of {seconds} seconds; format the cell as {} and type it again, a duration as its number of seconds",
                        if text { "text" } else { "a number" }
                    ))
                }
                None => wrong(format!(
                    "the cell has the date {}, which a program may have made of another text; format the cell as {} and type it again",
                    self.shown(number),
                    if text { "text" } else { "a number" }
                )),
            },
            Found::Error(error) => wrong(format!("the cell has the error {error}; correct it")),
            Found::Formula(_) => wrong(format!(
                "{} is a formula; copy the cells and paste them as values",
                show(&self.shown(number))
            )),
        }
    }

    fn name(&self, number: usize) -> Cow<'_, str> {
        self.shown(number)
    }

    fn shown(&self, number: usize) -> Cow<'_, str> {
        match self.found(number) {
            Found::Empty => Cow::Borrowed(""),
            Found::Text(text) => Cow::Borrowed(text),
            Found::Number(number) => match number_of(*number) {
                Some(number) => number.to_string().into(),
                None => number.to_string().into(),
            },
            Found::Percent(number) => format!("{number} %").into(),
            Found::Bool(truth) => Cow::Borrowed(if *truth { "TRUE" } else { "FALSE" }),
            Found::Moment(moment) => {
                let (.., hour, minute, second, _) = moment.to_ymd_hms_milli();
                if moment.is_datetime() && (hour, minute, second) == (0, 0, 0) {
                    day(*moment).into()
                } else if moment.is_datetime() {
                    format!("{} {hour:02}:{minute:02}:{second:02}", day(*moment)).into()
                } else {
                    moment.as_f64().to_string().into()
                }
            }
            Found::Error(error) => error.to_string().into(),
            Found::Formula(formula) => format!("={formula}").into(),
        }
    }
}

impl SheetRow {
    /// The cell of a column, from 0.
    fn found(&self, number: usize) -> &Found {
        self.cells.get(number).unwrap_or(&Found::Empty)
    }
}

/// The day of a moment in ISO 8601.
fn day(moment: ExcelDateTime) -> String {
    let (year, month, day, ..) = moment.to_ymd_hms_milli();
    format!("{year:04}-{month:02}-{day:02}")
}
