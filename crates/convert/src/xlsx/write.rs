//! From a document to a workbook.

use std::io::Write;

use obvert_model::read::RunReader;
use obvert_model::tables::{Document, Head};
use rust_xlsxwriter::{
    Color, DocProperties, Format, IntoCustomDateTime, Workbook, Worksheet, XlsxError,
};

use super::guide::{self, Choices};
use super::{library, sheet_of};
use crate::tables::cell;
use crate::tables::plan::{Kind, Plan, Table, plan};
use crate::tables::walk::{Entry, RowSink, walk};
use crate::{ConvertError, DocumentRuns, LossReport, Output};

/// The rows and characters that the spreadsheet programs hold.
const MOST_ROWS: u32 = 1_048_576;
const LONGEST_TEXT: usize = 32_767;

/// Writes a document as a workbook. The loss report is empty, always. Equal documents give equal
/// bytes.
///
/// # Errors
/// [`ConvertError::Refused`] when a table has more rows, or a text more characters, than a sheet
/// holds; [`ConvertError::Write`] when the sink fails.
pub fn write(document: &Document, sink: impl Write) -> Result<LossReport, ConvertError> {
    write_runs(&mut DocumentRuns::new(document), sink)
}

/// Writes a survey that is read run by run. The bytes are those of [`write`](fn@write). The sheets
/// grow side by side: their rows are kept in the system's folder for temporary files (in memory on
/// wasm32, which has none), and the packed workbook goes to the sink as a whole.
///
/// # Errors
/// As [`write`](fn@write), when the survey turns out to be invalid, and [`ConvertError::Write`]
/// when there is no room for temporary files.
pub fn write_runs(
    survey: &mut dyn RunReader<Error = ConvertError>,
    mut sink: impl Write,
) -> Result<LossReport, ConvertError> {
    let plan = plan();
    let looks = Looks::new();
    let mut book = Workbook::new();
    let mut sheets = Sheets(Vec::new());
    for table in &plan.tables {
        let sheet = library::call(|| blank(&mut book))?;
        sheets.0.push(library::call(|| Sheet::new(table, sheet, &looks))?);
    }
    walk(survey, &mut sheets)?;

    let head = survey.head();
    let day = Day(head.issued.to_string());
    book.set_properties(
        &DocProperties::new().set_title("Pipe inspection survey").set_creation_datetime(day),
    );
    book.push_worksheet(library::call(guide::sheet)?);
    let mut choices = library::call(Choices::new)?;
    let rows: Vec<u32> = sheets.0.iter().map(|sheet| sheet.next).collect();
    for (table, sheet) in plan.tables.iter().zip(sheets.0) {
        let sheet = library::call(|| sheet.finish((plan, table), head, &rows, &mut choices))?;
        book.push_worksheet(sheet);
    }
    book.push_worksheet(choices.into_sheet());
    sink.write_all(&library::call(|| book.save_to_buffer())?)?;
    sink.flush()?;
    Ok(LossReport::default())
}

/// Writes a survey into one file.
pub(super) fn create(
    survey: &mut dyn RunReader<Error = ConvertError>,
    output: &mut Output<'_>,
) -> Result<LossReport, ConvertError> {
    write_runs(survey, output.sink()?)
}

/// The sheets that rows are written to, by the numbers of their tables.
struct Sheets(Vec<Sheet>);

impl RowSink for Sheets {
    fn row(&mut self, _: &Head, table: usize, entries: &[Entry<'_>]) -> Result<(), ConvertError> {
        self.0[table].row(entries)
    }
}

/// A sheet whose rows are not held in memory.
#[cfg(not(target_arch = "wasm32"))]
fn blank(book: &mut Workbook) -> Result<Worksheet, XlsxError> {
    book.new_worksheet_with_constant_memory()
}

#[cfg(target_arch = "wasm32")]
#[expect(clippy::unnecessary_wraps, reason = "where there are files it can fail")]
fn blank(_: &mut Workbook) -> Result<Worksheet, XlsxError> {
    Ok(Worksheet::new())
}

/// The day of a time with its offset: a workbook wants to know when it was made, and the library
/// has its clock for that.
struct Day(String);

impl IntoCustomDateTime for Day {
    fn utc_datetime(self) -> String {
        format!("{}T00:00:00Z", self.0.get(..10).unwrap_or("2000-01-01"))
    }
}

struct Looks {
    required: Format,
    optional: Format,
    text: Format,
}

impl Looks {
    fn new() -> Self {
        let heading = Format::new().set_num_format("@");
        Self {
            required: heading
                .clone()
                .set_bold()
                .set_background_color(Color::RGB(0x1F_3A_4D))
                .set_font_color(Color::White),
            optional: heading.set_background_color(Color::RGB(0xE3_E8_EC)),
            text: Format::new().set_num_format("@"),
        }
    }
}

/// A sheet that is being written.
struct Sheet {
    table: &'static Table,
    sheet: Worksheet,
    /// The row that comes next, from 0.
    next: u32,
    /// The longest text of each column, in characters.
    widths: Vec<usize>,
}

impl Sheet {
    fn new(table: &'static Table, mut sheet: Worksheet, looks: &Looks) -> Result<Self, XlsxError> {
        sheet.set_name(sheet_of(table))?.set_freeze_panes(1, 0)?;
        let before = table.keys.len() + usize::from(table.ordered);
        for ((number, heading), place) in (0..).zip(table.headings()).zip(0_usize..) {
            // The columns before all others name the row's place; an order is a number, a key may
            // be one.
            let column = place.checked_sub(before).and_then(|place| table.columns.get(place));
            let key = table.keys.get(place);
            let is_text = match (column, key) {
                (Some(column), _) => {
                    !matches!(column.kind, Kind::Number | Kind::Whole | Kind::Bool)
                }
                (None, Some(key)) => !key.number,
                (None, None) => false,
            };
            if is_text {
                sheet.set_column_format(number, &looks.text)?;
            }
            let required = column.is_none_or(|column| column.required);
            let look = if required { &looks.required } else { &looks.optional };
            sheet.write_string_with_format(0, number, heading, look)?;
        }
        let widths = table.headings().map(|heading| heading.chars().count() + 2).collect();
        Ok(Self { table, sheet, next: 1, widths })
    }

    fn row(&mut self, entries: &[Entry<'_>]) -> Result<(), ConvertError> {
        let (row, name) = (self.next, sheet_of(self.table));
        if row >= MOST_ROWS {
            let message = format!(
                "the table {name} has more rows than a sheet holds ({MOST_ROWS}); use CSV tables, or a document for each part"
            );
            return Err(ConvertError::Refused { message });
        }
        for ((number, entry), heading) in (0_u16..).zip(entries).zip(self.table.headings()) {
            let text = match entry {
                Entry::Absent => continue,
                Entry::Place(place) => {
                    library::call(|| {
                        self.sheet.write_number(row, number, *place as f64).map(drop)
                    })?;
                    continue;
                }
                Entry::Value(value, column) => {
                    match (&column.kind, value.as_f64(), value.as_bool()) {
                        (Kind::Number | Kind::Whole, Some(number_of), _) => {
                            library::call(|| {
                                self.sheet.write_number(row, number, number_of).map(drop)
                            })?;
                            continue;
                        }
                        (Kind::Bool, _, Some(truth)) => {
                            library::call(|| {
                                self.sheet.write_boolean(row, number, truth).map(drop)
                            })?;
                            continue;
                        }
                        _ => cell::text(value, &column.kind),
                    }
                }
                Entry::Name(id) => (*id).to_owned(),
                Entry::Bare => "{}".to_owned(),
            };
            let at = || format!("the text for the sheet {name}, row {}, column {heading}", row + 1);
            if misread(&text) {
                let message = format!(
                    "{} has \"_x\" and four digits right before a character that XML cannot hold, which no workbook keeps apart; take that character out, or use another format",
                    at()
                );
                return Err(ConvertError::Refused { message });
            }
            let size = text.encode_utf16().count();
            if size > LONGEST_TEXT {
                let message = format!(
                    "{} has {size} characters, and a cell holds {LONGEST_TEXT}; shorten it, or use another format",
                    at()
                );
                return Err(ConvertError::Refused { message });
            }
            if let Some(width) = self.widths.get_mut(usize::from(number)) {
                *width = (*width).max(size);
            }
            library::call(|| self.sheet.write_string(row, number, text).map(drop))?;
        }
        self.next += 1;
        Ok(())
    }

    fn finish(
        mut self,
        at: (&Plan, &Table),
        head: &Head,
        rows: &[u32],
        choices: &mut Choices,
    ) -> Result<Worksheet, XlsxError> {
        for (number, width) in (0..).zip(&self.widths) {
            let width = u32::try_from(*width).unwrap_or(u32::MAX).clamp(8, 44);
            self.sheet.set_column_width(number, width)?;
        }
        guide::help(&mut self.sheet, at, head, rows, choices)?;
        Ok(self.sheet)
    }
}

/// Whether the library would write a text as another one: it escapes what XML cannot hold
/// (`_x0000_`) and whole texts that look like such an escape, but not one that only becomes one by
/// the escape that follows it.
fn misread(text: &str) -> bool {
    let escaped = |next: char| {
        (next < '\u{20}' && !matches!(next, '\t' | '\n')) || matches!(next, '\u{FFFE}' | '\u{FFFF}')
    };
    text.match_indices("_x").any(|(at, _)| {
        let digits = text.as_bytes().get(at + 2..at + 6);
        digits.is_some_and(|digits| digits.iter().all(u8::is_ascii_hexdigit))
            && text.get(at + 6..).and_then(|rest| rest.chars().next()).is_some_and(escaped)
    })
}
