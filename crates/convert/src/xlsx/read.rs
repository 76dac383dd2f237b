//! From a workbook to its tables.

use std::io::Cursor;

use calamine::{Reader, Xlsx, open_workbook_from_rs};

use super::rows::SheetRows;
use super::{CHOICES, GUIDE, ZipLimits, guard, sheet_of};
use crate::tables::plan::plan;
use crate::tables::read::{form, nearest};
use crate::{ConvertError, Survey, tables};

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
pub(crate) fn open<'b>(
    workbook: &'b [u8],
    name: &str,
    limits: ZipLimits,
) -> Result<Xlsx<Cursor<&'b [u8]>>, ConvertError> {
    let refused = |message: String| ConvertError::Form { place: None, message: format!("{name}: {message}") };
    guard::look_at(workbook, limits).map_err(refused)?;
    open_workbook_from_rs(Cursor::new(workbook))
        .map_err(|error: calamine::XlsxError| refused(format!("the workbook cannot be read: {error}")))
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
    let refused = |message: String| ConvertError::Form { place: None, message: format!("{name}: {message}") };
    let mut book = open(workbook, name, limits)?;
    let tables = &plan().tables;
    let mut found: Vec<Option<SheetRows>> = tables.iter().map(|_| None).collect();
    for sheet in book.sheet_names() {
        if sheet == GUIDE || sheet == CHOICES {
            continue;
        }
        let rows = SheetRows::load(&mut book, &sheet)?;
        if let Some(index) = tables.iter().position(|table| sheet_of(table) == sheet) {
            found[index] = rows;
        } else if rows.is_some() {
            let names: Vec<String> = tables.iter().map(sheet_of).collect();
            let near = nearest(&sheet, names.iter().map(String::as_str));
            let near = near.map(|near| format!(" (did you mean {near}?)")).unwrap_or_default();
            let message = format!(
                "no table of the format has the name of this sheet{near}; take it out, or name it as one of: {}",
                names.join(", ")
            );
            return Err(form(&sheet, 1, message));
        }
    }
    if found.first().is_none_or(Option::is_none) {
        return Err(refused(
            "there is no sheet \"document\", which says the units, the code list and all else that holds for the whole survey; every workbook has one"
                .to_owned(),
        ));
    }
    tables::read::read(found, sheet_of)
}
