//! From a workbook to its tables.

use std::io::{Cursor, Read, Seek};

use calamine::{Reader, Xlsx, open_workbook_from_rs};
use obvert_model::read::Runs;
use obvert_model::tables::Head;

use super::rows::{Sheet, SheetFlow, SheetRows, Size};
use super::{CHOICES, GUIDE, ZipLimits, guard, sheet_of};
use crate::tables::Rows;
use crate::tables::plan::plan;
use crate::tables::read::Stranger;
use crate::{ConvertError, Survey, flow, tables};

/// Reads a workbook, which may have been written by [`write`](fn@crate::xlsx::write) or filled in by hand. `name` is what messages
/// call it. In places, the file is the sheet and the line the row.
///
/// # Errors
/// When it is no workbook as described at [the module](crate::xlsx), unpacks beyond [`ZipLimits::default`], or does not describe a
/// valid document.
pub fn read(workbook: &[u8], name: &str) -> Result<Survey, ConvertError> {
    read_within(workbook, name, ZipLimits::default())
}

/// Opens a workbook that unpacks within limits.
pub(super) fn open<'b>(
    workbook: &'b [u8],
    name: &str,
    limits: ZipLimits,
) -> Result<Xlsx<Cursor<&'b [u8]>>, ConvertError> {
    let refused = |message: String| ConvertError::Form { place: None, message: format!("{name}: {message}") };
    guard::look_at(workbook, limits).map_err(refused)?;
    open_workbook_from_rs(Cursor::new(workbook)).map_err(|error| unreadable(name, &error))
}

/// Whether a workbook is one of this format: it has the sheet that says what holds for the whole survey.
#[must_use]
pub fn is_survey(workbook: &[u8]) -> bool {
    open(workbook, "", ZipLimits::default())
        .is_ok_and(|book| book.sheet_names().iter().any(|sheet| sheet == "document"))
}

/// As [`read`], with limits of the caller's own.
///
/// # Errors
/// As [`read`].
pub fn read_within(workbook: &[u8], name: &str, limits: ZipLimits) -> Result<Survey, ConvertError> {
    match read_ahead(workbook, name, limits, |tables| tables::stream::survey(tables, sheet_of))? {
        Some(survey) => Ok(survey),
        None => read_whole(workbook, name, limits),
    }
}

/// As [`read_within`], by the road that holds the whole: it says what is wrong, and the other is held against it.
///
/// # Errors
/// As [`read_within`].
#[doc(hidden)]
pub fn read_whole(workbook: &[u8], name: &str, limits: ZipLimits) -> Result<Survey, ConvertError> {
    let mut book = open(workbook, name, limits)?;
    let tables = &plan().tables;
    let mut found: Vec<Option<SheetRows>> = tables.iter().map(|_| None).collect();
    let mut strangers = Vec::new();
    for (sheet, index) in sheets(&book) {
        let rows = SheetRows::load(&mut book, &sheet)?;
        match index {
            Some(index) => found[index] = rows,
            None => strangers.extend(rows.map(|rows| Stranger {
                name: sheet,
                headings: rows.headings().filter(|heading| !heading.is_empty()).map(str::to_owned).collect(),
            })),
        }
    }
    if found.first().is_none_or(Option::is_none) {
        return Err(without_document(name));
    }
    tables::read::read(found, sheet_of, &strangers)
}

/// Reads a workbook as a stream: calls `work` with the head and the runs to be taken from it, as
/// [`obvert_model::read::stream`] does. Beside the workbook and its shared texts, memory is that of the head and of one run where
/// the rows of all sheets stand in the order of the runs, as they are written; otherwise the whole is held, and `work` may be
/// called again for it. What it gave before is thrown away then, and also when the document turns out to be invalid.
///
/// # Errors
/// As [`read`].
pub fn read_stream<T>(
    workbook: &[u8],
    name: &str,
    mut work: impl FnMut(&Head, &mut dyn Runs) -> T,
) -> Result<T, ConvertError> {
    let fast = read_ahead(workbook, name, ZipLimits::default(), |tables| tables::stream::stream(tables, &mut work))?;
    flow::either(fast, || read_whole(workbook, name, ZipLimits::default()), &mut work)
}

/// The fast road; `None` where it ends.
fn read_ahead<T>(
    workbook: &[u8],
    name: &str,
    limits: ZipLimits,
    work: impl FnOnce(Vec<Option<Sheet<'_>>>) -> Option<T>,
) -> Result<Option<T>, ConvertError> {
    let again = || open_workbook_from_rs(Cursor::new(workbook)).map_err(|error| unreadable(name, &error));
    let mut book = open(workbook, name, limits)?;
    let mut held: Vec<Option<SheetRows>> = plan().tables.iter().map(|_| None).collect();
    // A sheet that is read a row at a time has the workbook for itself.
    let mut large = Vec::new();
    for (sheet, index) in sheets(&book) {
        match (SheetRows::load_small(&mut book, &sheet), index) {
            (Ok(Size::Small(rows)), Some(index)) => held[index] = rows,
            (Ok(Size::Small(None)), None) => {}
            (Ok(Size::Large), Some(index)) => large.push((index, sheet, again()?)),
            (Ok(_), None) | (Err(_), _) => return Ok(None),
        }
    }
    drop(book);
    let mut open: Vec<Option<Sheet<'_>>> = held.into_iter().map(|rows| rows.map(Sheet::Held)).collect();
    for (index, sheet, book) in &mut large {
        let Ok(rows) = SheetFlow::open(book, sheet) else { return Ok(None) };
        open[*index] = Some(Sheet::Flowing(Box::new(rows)));
    }
    Ok(work(open))
}

/// The sheets that can be tables, each with the number of its table.
fn sheets<S: Read + Seek>(book: &Xlsx<S>) -> Vec<(String, Option<usize>)> {
    let table = |sheet: &str| plan().tables.iter().position(|table| sheet_of(table) == sheet);
    let names = book.sheet_names().into_iter().filter(|sheet| sheet != GUIDE && sheet != CHOICES);
    names.map(|sheet| (sheet.clone(), table(&sheet))).collect()
}

fn without_document(name: &str) -> ConvertError {
    let message = format!(
        "{name}: there is no sheet \"document\", which says the units, the code list and all else that holds for the whole survey; every workbook of this format has one; an office's own workbook is read by a layout"
    );
    ConvertError::Form { place: None, message }
}

fn unreadable(name: &str, error: &calamine::XlsxError) -> ConvertError {
    ConvertError::Form { place: None, message: format!("{name}: the workbook cannot be read: {error}") }
}
