//! Writing a document as a workbook.

use std::io::Write;

use obvert_model::read::RunReader;
use obvert_model::tables::{Document, Head};
use rust_xlsxwriter::{
    Color, DocProperties, Format, IntoCustomDateTime, Workbook, Worksheet, XlsxError,
};

use super::guide::{self, Choices};
use super::sheet_of;
use super::sheet_xml::{SheetXml, insert_rows};
use crate::tables::cell;
use crate::tables::plan::{Kind, Plan, Table, plan};
use crate::tables::walk::{Entry, RowSink, walk};
use crate::{ConvertError, DocumentRuns, LossReport, Output};

/// The limits of spreadsheet programs.
const MOST_ROWS: u32 = 1_048_576;
const LONGEST_TEXT: usize = 32_767;

/// Writes a document as a workbook. The loss report is always empty. Equal documents give equal
/// bytes.
///
/// # Errors
/// [`ConvertError::Refused`] when a table has more rows, or a text more characters, than a sheet
/// can hold; [`ConvertError::Write`] when the sink fails.
pub fn write(document: &Document, sink: impl Write) -> Result<LossReport, ConvertError> {
    write_runs(&mut DocumentRuns::new(document), sink)
}

/// Writes a survey that is read run by run. The bytes are those of [`write`](fn@write). The
/// workbook is held in memory, compressed, until the last run has been read.
///
/// # Errors
/// As [`write`](fn@write), and when the survey turns out to be invalid.
pub fn write_runs(
    survey: &mut dyn RunReader<Error = ConvertError>,
    mut sink: impl Write,
) -> Result<LossReport, ConvertError> {
    let plan = plan();
    let mut sheets = Sheets(plan.tables.iter().map(Sheet::new).collect());
    walk(survey, &mut sheets)?;
    let workbook = headings_of(plan, survey.head(), &sheets.0).map_err(failed)?;
    let rows = (FIRST_TABLE..).zip(sheets.0).map(|(number, sheet)| (number, sheet.rows));
    insert_rows(workbook, rows.collect(), &mut sink)?;
    sink.flush()?;
    Ok(LossReport::default())
}

/// The number of the sheet of the first table: the guide is before it.
const FIRST_TABLE: usize = 2;

/// The workbook without the rows of its tables.
fn headings_of(plan: &Plan, head: &Head, sheets: &[Sheet]) -> Result<Vec<u8>, XlsxError> {
    let styles = Styles::new();
    let mut book = Workbook::new();
    let day = Day(head.issued.to_string());
    book.set_properties(
        &DocProperties::new().set_title("Pipe inspection survey").set_creation_datetime(day),
    );
    book.push_worksheet(guide::sheet(&styles.text)?);
    let mut choices = Choices::new()?;
    let rows: Vec<u32> = sheets.iter().map(|sheet| sheet.rows.last_row()).collect();
    for sheet in sheets {
        let mut worksheet = sheet.headings(&styles)?;
        guide::help(&mut worksheet, (plan, sheet.table), head, &rows, &mut choices)?;
        book.push_worksheet(worksheet);
    }
    book.push_worksheet(choices.into_sheet());
    book.save_to_buffer()
}

/// An error of the workbook library, which writes to memory only.
fn failed(error: XlsxError) -> ConvertError {
    match error {
        XlsxError::IoError(error) => ConvertError::Write(error),
        other => ConvertError::Refused {
            message: format!("the workbook cannot be written: {other}; use CSV tables"),
        },
    }
}

/// Writes a survey into one file.
pub(super) fn create(
    survey: &mut dyn RunReader<Error = ConvertError>,
    output: &mut Output<'_>,
) -> Result<LossReport, ConvertError> {
    write_runs(survey, output.sink()?)
}

/// The sheets that rows are written to, by the index of their table.
struct Sheets(Vec<Sheet>);

impl RowSink for Sheets {
    fn row(&mut self, _: &Head, table: usize, entries: &[Entry<'_>]) -> Result<(), ConvertError> {
        self.0[table].row(entries)
    }
}

/// The day of the survey, as the creation time of the workbook. The library would use the current
/// time.
struct Day(String);

impl IntoCustomDateTime for Day {
    fn utc_datetime(self) -> String {
        format!("{}T00:00:00Z", self.0.get(..10).unwrap_or("2000-01-01"))
    }
}

/// How headings and cells look.
struct Styles {
    required: Format,
    optional: Format,
    text: Format,
}

impl Styles {
    fn new() -> Self {
        let text = Format::new().set_num_format("@");
        Self {
            required: text
                .clone()
                .set_bold()
                .set_background_color(Color::RGB(0x1F_3A_4D))
                .set_font_color(Color::White),
            optional: text.clone().set_background_color(Color::RGB(0xE3_E8_EC)),
            text,
        }
    }
}

/// A sheet whose rows are being written.
struct Sheet {
    table: &'static Table,
    /// For each column, whether its cells are formatted as text.
    text: Vec<bool>,
    rows: SheetXml,
    /// The longest text of each column, in characters.
    widths: Vec<usize>,
}

impl Sheet {
    fn new(table: &'static Table) -> Self {
        let columns = table.columns.iter();
        // An order is a number, and a key may be one.
        let text: Vec<bool> = (table.keys.iter().map(|key| !key.number))
            .chain(table.ordered.then_some(false))
            .chain(
                columns
                    .map(|column| !matches!(column.kind, Kind::Number | Kind::Whole | Kind::Bool)),
            )
            .collect();
        let widths = table.headings().map(|heading| heading.chars().count() + 2).collect();
        Self { table, rows: SheetXml::new(&text), text, widths }
    }

    fn row(&mut self, entries: &[Entry<'_>]) -> Result<(), ConvertError> {
        if self.rows.last_row() >= MOST_ROWS {
            let message = format!(
                "the table {} has more rows than a sheet can hold ({MOST_ROWS}); use CSV tables, or split the survey into several documents",
                sheet_of(self.table)
            );
            return Err(ConvertError::Refused { message });
        }
        self.rows.begin_row();
        for (column, entry) in entries.iter().enumerate() {
            self.entry(column, entry)?;
        }
        Ok(self.rows.end_row()?)
    }

    fn entry(&mut self, column: usize, entry: &Entry<'_>) -> Result<(), ConvertError> {
        let (value, kind) = match entry {
            Entry::Absent => return Ok(()),
            Entry::Place(place) => {
                self.rows.number(column, *place as f64);
                return Ok(());
            }
            Entry::Name(id) => return self.write_text(column, id),
            Entry::Bare => return self.write_text(column, "{}"),
            Entry::Value(value, column) => (value, &column.kind),
        };
        match (kind, value.as_f64(), value.as_bool()) {
            (Kind::Number | Kind::Whole, Some(number), _) => self.rows.number(column, number),
            (Kind::Bool, _, Some(truth)) => self.rows.boolean(column, truth),
            _ => return self.write_text(column, &cell::text(value, kind)),
        }
        Ok(())
    }

    fn write_text(&mut self, column: usize, text: &str) -> Result<(), ConvertError> {
        let size = text.encode_utf16().count();
        if size > LONGEST_TEXT {
            let message = format!(
                "the text for the sheet {}, row {}, column {} has {size} characters, and a cell can hold {LONGEST_TEXT}; shorten it, or use \
                 another format",
                sheet_of(self.table),
                self.rows.last_row(),
                self.table.headings().nth(column).unwrap_or_default()
            );
            return Err(ConvertError::Refused { message });
        }
        if let Some(width) = self.widths.get_mut(column) {
            *width = (*width).max(size);
        }
        self.rows.text(column, text);
        Ok(())
    }

    /// The sheet without its rows.
    fn headings(&self, styles: &Styles) -> Result<Worksheet, XlsxError> {
        let mut sheet = Worksheet::new();
        sheet.set_name(sheet_of(self.table))?.set_freeze_panes(1, 0)?;
        let before = self.text.len() - self.table.columns.len();
        let columns = self.table.headings().zip(&self.text).zip(&self.widths).enumerate();
        for (place, ((heading, is_text), width)) in columns {
            let number = u16::try_from(place).unwrap_or(u16::MAX);
            if *is_text {
                sheet.set_column_format(number, &styles.text)?;
            }
            let width = u32::try_from(*width).unwrap_or(u32::MAX).clamp(8, 44);
            sheet.set_column_width(number, width)?;
            let column = place.checked_sub(before).and_then(|place| self.table.columns.get(place));
            let required = column.is_none_or(|column| column.required);
            let style = if required { &styles.required } else { &styles.optional };
            sheet.write_string_with_format(0, number, heading, style)?;
        }
        Ok(sheet)
    }
}
