//! From a workbook to its tables.

use std::borrow::Cow;
use std::io::{Cursor, Read, Seek};
use std::sync::Arc;

use calamine::{Reader, Xlsx, open_workbook_from_rs};

use super::rows::{Sheet, SheetFlow, SheetRows, Size};
use super::{CHOICES, GUIDE, ZipLimits, guard, sheet_of};
use crate::tables::assemble::Names;
use crate::tables::plan::plan;
use crate::tables::source::{self, Pass, TableFile, Tables};
use crate::tables::unknown_table::UnknownTable;
use crate::{ConvertError, Input, Source, Survey};

/// Reads a workbook, which may have been written by [`write`](fn@crate::xlsx::write) or filled in
/// by hand. Messages call it `name`. In locations, the file is the sheet and the line is the row.
///
/// # Errors
/// When it is not a workbook as described at [the module](crate::xlsx), is beyond
/// [`ZipLimits::DEFAULT`], or does not describe a valid document.
pub fn read(workbook: &[u8], name: &str) -> Result<Survey, ConvertError> {
    open(Input::file(name, workbook))?.survey()
}

/// Opens a workbook of this format.
pub(super) fn open<'a>(input: Input<'a>) -> Result<Box<dyn Source + 'a>, ConvertError> {
    Ok(source::source(WorkbookTables::new(input)?))
}

/// Opens any workbook within the limits for unpacking.
pub(super) fn open_any<'b>(
    workbook: &'b [u8],
    name: &str,
    limits: ZipLimits,
) -> Result<Xlsx<Cursor<&'b [u8]>>, ConvertError> {
    guarded(workbook, name, limits)?;
    open_workbook_from_rs(Cursor::new(workbook)).map_err(|error| unreadable(name, &error))
}

fn guarded(workbook: &[u8], name: &str, limits: ZipLimits) -> Result<(), ConvertError> {
    let refused = |message: String| ConvertError::Format {
        place: None,
        message: format!("{name}: {message}"),
    };
    guard::look_at(workbook, limits).map_err(refused)
}

/// The bytes of a workbook, which several readers share.
#[derive(Clone)]
pub(super) struct Shared<'a>(Arc<Cow<'a, [u8]>>);

impl AsRef<[u8]> for Shared<'_> {
    fn as_ref(&self) -> &[u8] {
        &self.0
    }
}

/// A workbook that owns or borrows its bytes.
pub(super) type Book<'a> = Xlsx<Cursor<Shared<'a>>>;

/// The sheets of a workbook that are tables.
struct WorkbookTables<'a> {
    /// For each table its sheet, unless it is large.
    held: Vec<Option<SheetRows>>,
    /// The sheets that are read one row at a time. Each has a reader of its own.
    large: Vec<LargeSheet<'a>>,
    unknown: Vec<UnknownTable>,
}

struct LargeSheet<'a> {
    /// The index of its table.
    table: usize,
    name: String,
    book: Book<'a>,
}

impl<'a> WorkbookTables<'a> {
    fn new(input: Input<'a>) -> Result<Self, ConvertError> {
        guarded(input.bytes(), input.name(), input.limits())?;
        let name = input.name().to_owned();
        let bytes = Shared(Arc::new(input.into_bytes()));
        let book = || -> Result<Book<'a>, ConvertError> {
            open_workbook_from_rs(Cursor::new(bytes.clone()))
                .map_err(|error| unreadable(&name, &error))
        };
        let mut first = book()?;
        let mut tables = Self { held: Vec::new(), large: Vec::new(), unknown: Vec::new() };
        tables.held.resize_with(plan().tables.len(), || None);
        for (sheet, table) in sheets(&first) {
            let Some(table) = table else {
                let rows = SheetRows::load(&mut first, &sheet)?;
                tables.unknown.extend(rows.map(|rows| {
                    UnknownTable {
                        name: sheet,
                        headings: rows
                            .headings()
                            .iter()
                            .filter(|heading| !heading.is_empty())
                            .cloned()
                            .collect(),
                    }
                }));
                continue;
            };
            match SheetRows::load_small(&mut first, &sheet)? {
                Size::Small(rows) => tables.held[table] = rows,
                Size::Large => tables.large.push(LargeSheet { table, name: sheet, book: book()? }),
            }
        }
        let document = tables.held.first().is_some_and(Option::is_some);
        if document || tables.large.iter().any(|sheet| sheet.table == 0) {
            Ok(tables)
        } else {
            Err(without_document(&name))
        }
    }
}

impl<'a> TableFile for WorkbookTables<'a> {
    type Rows<'f>
        = Sheet<'f, 'a>
    where
        Self: 'f;

    const NAMES: Names = sheet_of;

    fn tables(&mut self, pass: Pass) -> Result<Tables<'_, Sheet<'_, 'a>>, ConvertError> {
        let held = self.held.iter().map(|rows| rows.as_ref().map(|rows| Sheet::Held(rows.rows())));
        let mut rows: Vec<Option<Sheet<'_, 'a>>> = held.collect();
        for LargeSheet { table, name, book } in &mut self.large {
            rows[*table] = match pass {
                Pass::Whole => SheetRows::load(book, name)?
                    .map(|rows| Sheet::Owned(Box::new(rows.into_rows()))),
                Pass::Keys | Pass::Rows => {
                    Some(Sheet::Flowing(Box::new(SheetFlow::open(book, name)?)))
                }
            };
        }
        Ok(Tables { rows, unknown: &self.unknown, compare: Box::new(|_| Ok(())) })
    }
}

/// The sheets that can be tables, each with the index of its table.
fn sheets<S: Read + Seek>(book: &Xlsx<S>) -> Vec<(String, Option<usize>)> {
    let table = |sheet: &str| plan().tables.iter().position(|table| sheet_of(table) == sheet);
    let names = book.sheet_names().into_iter().filter(|sheet| sheet != GUIDE && sheet != CHOICES);
    names.map(|sheet| (sheet.clone(), table(&sheet))).collect()
}

fn without_document(name: &str) -> ConvertError {
    let message = format!(
        "{name}: there is no sheet \"document\", which has the units, the code list and the other fields of the whole survey; \
         every workbook of this format has one; to read an office's own workbook, use a layout"
    );
    ConvertError::Format { place: None, message }
}

fn unreadable(name: &str, error: &calamine::XlsxError) -> ConvertError {
    ConvertError::Format {
        place: None,
        message: format!("{name}: the workbook cannot be read: {error}"),
    }
}
