//! One sheet as rows, and what its cells hold. Cells are kept only as far as headings go, and empty ones cost nothing but their
//! place, so a sheet with one cell in its last corner takes no more than one with it in the first.

use std::borrow::Cow;
use std::io::{Read, Seek};

use calamine::{CellErrorType, DataRef, ExcelDateTime, Xlsx, XlsxError};

use super::percent;
use crate::ConvertError;
use crate::tables::cell::{Cell, CellError, number_of, show};
use crate::tables::plan::{Column, Kind, Moment};
use crate::tables::read::form;
use crate::tables::{Record, Rows};

/// The most columns a sheet can have that is a table; a row of more would be no row of this format.
const WIDEST: u32 = 1024;

/// What a cell holds.
#[derive(Debug)]
pub(crate) enum Found {
    Empty,
    Text(String),
    Number(f64),
    /// A number that is shown as a percentage, as the hundredths that are shown: 8 where 0.08 is held and 8 % seen.
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
    /// Whether a column has no heading and nothing below it.
    blank: Vec<bool>,
    rows: Vec<(usize, SheetRow)>,
    next: usize,
}

/// A row of a sheet: its cells from the first column on.
#[derive(Debug, Default)]
pub(crate) struct SheetRow {
    pub(crate) cells: Vec<Found>,
}

impl SheetRows {
    /// Reads a sheet; `None` for one without anything in it.
    ///
    /// # Errors
    /// When the sheet cannot be read or does not begin with its headings.
    pub(super) fn load<S: Read + Seek>(book: &mut Xlsx<S>, sheet: &str) -> Result<Option<Self>, ConvertError> {
        let mut rows = cells_of(book, sheet)?;
        if rows.is_empty() {
            return Ok(None);
        }
        let (first, headings) = rows.remove(0);
        if first != 1 {
            return Err(form(sheet, 1, "the row is empty; the first row of a sheet must be its headings"));
        }
        let width = rows.iter().map(|(_, row)| row.cells.len()).max().unwrap_or_default().max(headings.cells.len());
        let headings: Vec<String> = (0..width).map(|column| headings.shown(column).into_owned()).collect();
        let mut blank: Vec<bool> = headings.iter().map(String::is_empty).collect();
        for (_, row) in &rows {
            for (blank, cell) in blank.iter_mut().zip(&row.cells) {
                *blank &= matches!(cell, Found::Empty);
            }
        }
        Ok(Some(Self { headings, blank, rows, next: 0 }))
    }
}

/// The rows of a sheet that have anything in them, each with its number from 1.
///
/// # Errors
/// When the sheet cannot be read.
pub(crate) fn cells_of<S: Read + Seek>(
    book: &mut Xlsx<S>,
    sheet: &str,
) -> Result<Vec<(usize, SheetRow)>, ConvertError> {
    let failed = |error: XlsxError| form(sheet, 1, format!("the sheet cannot be read: {error}"));
    let percentages = percent::cells(book, sheet).map_err(failed)?;
    let mut cells = book.worksheet_cells_reader(sheet).map_err(failed)?;
    let mut rows: Vec<(usize, SheetRow)> = Vec::new();
    while let Some(record) = cells.next_cell_with_formula_metadata().map_err(failed)? {
        let (row, column) = record.pos;
        let found = match record.formula {
            Some(formula) => Found::Formula(match formula {
                calamine::XlsxFormulaMetadata::Normal { formula }
                | calamine::XlsxFormulaMetadata::Shared { formula, .. } => formula,
                _ => String::new(),
            }),
            None => match found(record.value) {
                Found::Number(number) if percentages.contains(&record.pos) => {
                    Found::Percent(percent::hundredths(number))
                }
                found => found,
            },
        };
        if matches!(found, Found::Empty) {
            continue;
        }
        let row = row as usize + 1;
        if column >= WIDEST {
            let message = format!("a value in column {}, far right of all headings; take it out", column + 1);
            return Err(form(sheet, row, message));
        }
        if rows.last().is_none_or(|(last, _)| *last != row) {
            rows.push((row, SheetRow::default()));
        }
        let Some((_, last)) = rows.last_mut() else { continue };
        let column = column as usize;
        if last.cells.len() <= column {
            last.cells.resize_with(column + 1, || Found::Empty);
        }
        last.cells[column] = found;
    }
    if rows.windows(2).any(|pair| pair[0].0 >= pair[1].0) {
        return Err(form(sheet, 1, "the rows are not in order in the file; open the workbook and save it anew"));
    }
    Ok(rows)
}

impl Rows for SheetRows {
    type Row = SheetRow;
    fn headings(&self) -> impl Iterator<Item = &str> {
        self.headings.iter().map(String::as_str)
    }
    fn is_blank(&self, column: usize) -> bool {
        self.blank.get(column).copied().unwrap_or_default()
    }
    fn next_row(&mut self) -> Result<Option<(usize, &SheetRow)>, ConvertError> {
        let row = self.rows.get(self.next);
        self.next += 1;
        Ok(row.map(|(number, row)| (*number, row)))
    }
}

fn found(value: DataRef<'_>) -> Found {
    match value {
        DataRef::Empty => Found::Empty,
        DataRef::Int(number) => Found::Number(number as f64),
        DataRef::Float(number) => Found::Number(number),
        DataRef::SharedString("") => Found::Empty,
        DataRef::SharedString(text) => Found::Text(text.to_owned()),
        DataRef::String(text) if text.is_empty() => Found::Empty,
        DataRef::String(text) | DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => Found::Text(text),
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
                wrong(format!("{found} is a number; format the cell as a date, or as text and write 2026-05-06"))
            }
            Found::Number(number) => match number_of(*number) {
                Some(number) => Ok(Cell::Number(number)),
                None => wrong(format!("{number} is not a number that can be read")),
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
                Some(Moment::Day) => wrong(format!("{} is not a day; write 2026-05-06", self.shown(number))),
                Some(Moment::Time) => wrong(format!(
                    "{} does not say its offset from UTC, which a date cell cannot; format the cell as text and write 2026-05-06T09:31:00-05:00",
                    self.shown(number)
                )),
                None => wrong(format!(
                    "the cell holds the date {}; a program may have made one of what was typed: format the cell as {} and type it again",
                    self.shown(number),
                    if text { "text" } else { "a number" }
                )),
            },
            Found::Error(error) => wrong(format!("the cell holds the error {error}; correct it")),
            Found::Formula(_) => wrong(format!(
                "{} is a formula; copy the cells and paste them in their place as values",
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
    pub(crate) fn found(&self, number: usize) -> &Found {
        self.cells.get(number).unwrap_or(&Found::Empty)
    }
}

/// The day of a moment, as ISO 8601 has it.
fn day(moment: ExcelDateTime) -> String {
    let (year, month, day, ..) = moment.to_ymd_hms_milli();
    format!("{year:04}-{month:02}-{day:02}")
}
