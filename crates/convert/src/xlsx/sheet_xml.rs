//! The rows of a sheet as XML (ECMA-376 part 1, 18.3.1), and the workbook that they go into.
//!
//! The workbook library holds every cell of a sheet in memory, or writes cells to temporary files
//! and panics if that fails. Rows are therefore written here, deflated in memory. The library
//! makes the rest of the workbook, whose sheets have headings only, and the rows are inserted
//! below those.

use std::fmt::Write as _;
use std::io::{self, Cursor, Read, Write};

use flate2::Compression;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;
use rust_xlsxwriter::utility;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipArchive, ZipWriter};

/// Ends the rows of a sheet.
const END_OF_ROWS: &str = "</sheetData>";

/// The rows of a sheet below its headings.
pub(super) struct SheetXml {
    deflated: DeflateEncoder<Vec<u8>>,
    columns: Vec<Column>,
    /// The current row, as XML.
    row: String,
    /// The number of the current row, from 1. The headings are row 1.
    number: u32,
}

/// A column of a sheet.
struct Column {
    letters: String,
    /// The attribute that gives its cells their style.
    style: &'static str,
}

impl SheetXml {
    /// A sheet without rows. `text` has an item for each column: whether its cells are formatted
    /// as text.
    pub(super) fn new(text: &[bool]) -> Self {
        let columns = (0..).zip(text).map(|(number, is_text)| Column {
            letters: utility::column_number_to_name(number),
            // Formats are numbered by their first use; the guide sheet uses the text format first.
            style: if *is_text { " s=\"1\"" } else { "" },
        });
        Self {
            deflated: DeflateEncoder::new(Vec::new(), Compression::default()),
            columns: columns.collect(),
            row: String::new(),
            number: 1,
        }
    }

    /// The number of the last row, from 1; 1 if there are only headings.
    pub(super) fn last_row(&self) -> u32 {
        self.number
    }

    /// Starts a row.
    pub(super) fn begin_row(&mut self) {
        self.number += 1;
        self.row.clear();
        let _ = write!(self.row, "<row r=\"{}\">", self.number);
    }

    /// Adds a cell that holds a number.
    pub(super) fn number(&mut self, column: usize, number: f64) {
        self.begin_cell(column);
        let _ = write!(self.row, "><v>{number}</v></c>");
    }

    /// Adds a cell that holds true or false.
    pub(super) fn boolean(&mut self, column: usize, value: bool) {
        self.begin_cell(column);
        let _ = write!(self.row, " t=\"b\"><v>{}</v></c>", u8::from(value));
    }

    /// Adds a cell that holds text.
    pub(super) fn text(&mut self, column: usize, text: &str) {
        self.begin_cell(column);
        let white = [' ', '\t', '\n'];
        let outer_space = text.starts_with(white) || text.ends_with(white);
        let preserve = if outer_space { " xml:space=\"preserve\"" } else { "" };
        let _ = write!(self.row, " t=\"inlineStr\"><is><t{preserve}>");
        escape(text, &mut self.row);
        self.row.push_str("</t></is></c>");
    }

    fn begin_cell(&mut self, column: usize) {
        if let Some(Column { letters, style }) = self.columns.get(column) {
            let _ = write!(self.row, "<c r=\"{letters}{}\"{style}", self.number);
        }
    }

    /// Ends a row.
    ///
    /// # Errors
    /// None in practice: the row is written to memory.
    pub(super) fn end_row(&mut self) -> io::Result<()> {
        self.row.push_str("</row>");
        self.deflated.write_all(self.row.as_bytes())
    }

    /// Writes the sheet that the library made of the headings, with the rows added.
    fn insert_into(self, headings: &str, out: &mut impl Write) -> io::Result<()> {
        let parts = headings.split_once(END_OF_ROWS);
        let Some(((start, before), after)) =
            parts.and_then(|(before, after)| Some((around_range(before)?, after)))
        else {
            return Err(io::Error::other("the workbook library wrote a sheet without headings"));
        };
        let last_column = u16::try_from(self.columns.len().saturating_sub(1)).unwrap_or(u16::MAX);
        let range = utility::cell_range(0, 0, self.number - 1, last_column);
        out.write_all(start.as_bytes())?;
        out.write_all(range.as_bytes())?;
        out.write_all(before.as_bytes())?;
        io::copy(&mut DeflateDecoder::new(self.deflated.finish()?.as_slice()), out)?;
        out.write_all(END_OF_ROWS.as_bytes())?;
        out.write_all(after.as_bytes())
    }
}

/// What is before and after the range of the cells in use in a sheet.
fn around_range(sheet: &str) -> Option<(&str, &str)> {
    const START: &str = "<dimension ref=\"";
    let from = sheet.find(START)? + START.len();
    let to = from + sheet.get(from..)?.find('"')?;
    Some((&sheet[..from], &sheet[to..]))
}

/// Writes a workbook whose sheets have headings only, with rows added. `sheets` has the number of
/// each sheet, from 1, and its rows. The file goes straight to `sink`, since a copy of it would
/// double the memory.
///
/// # Errors
/// When the sink fails, or the library wrote a workbook of another structure.
pub(super) fn insert_rows(
    workbook: Vec<u8>,
    sheets: Vec<(usize, SheetXml)>,
    sink: impl Write,
) -> io::Result<()> {
    let mut headings = ZipArchive::new(Cursor::new(workbook))?;
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(DateTime::default());
    let mut workbook = ZipWriter::new_stream(sink).set_auto_large_file();
    let mut sheets: Vec<(String, SheetXml)> = sheets
        .into_iter()
        .map(|(number, rows)| (format!("xl/worksheets/sheet{number}.xml"), rows))
        .collect();
    for index in 0..headings.len() {
        let name = headings.by_index_raw(index)?.name()?.into_owned();
        let Some(place) = sheets.iter().position(|(path, _)| *path == name) else {
            workbook.raw_copy_file(headings.by_index_raw(index)?)?;
            continue;
        };
        let mut sheet = String::new();
        headings.by_index(index)?.read_to_string(&mut sheet)?;
        workbook.start_file(name, options)?;
        sheets.swap_remove(place).1.insert_into(&sheet, &mut workbook)?;
    }
    match sheets.is_empty() {
        true => Ok(workbook.finish().map(drop)?),
        false => Err(io::Error::other("the workbook library left out a sheet")),
    }
}

/// Writes text as XML. A character that XML cannot hold becomes an escape such as `_x001F_`, and
/// an `_` before what would be read as such an escape becomes `_x005F_` (ISO/IEC 29500-1,
/// 22.9.2.19, `ST_Xstring`).
fn escape(text: &str, out: &mut String) {
    let mut rest = text;
    while let Some(character) = rest.chars().next() {
        match character {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '_' if starts_escape(rest) => out.push_str("_x005F_"),
            _ if needs_escape(character) => {
                let _ = write!(out, "_x{:04X}_", u32::from(character));
            }
            _ => out.push(character),
        }
        rest = &rest[character.len_utf8()..];
    }
}

/// Whether XML cannot hold a character, or would turn it into another one as `\r`.
fn needs_escape(character: char) -> bool {
    (character < ' ' && !matches!(character, '\t' | '\n'))
        || matches!(character, '\u{FFFE}' | '\u{FFFF}')
}

/// Whether a text starts with `_x`, four hexadecimal digits, and an `_`, or a character whose own
/// escape starts with one.
fn starts_escape(text: &str) -> bool {
    let digits = text.strip_prefix("_x").and_then(|text| text.split_at_checked(4));
    digits.is_some_and(|(digits, rest)| {
        digits.bytes().all(|byte| byte.is_ascii_hexdigit())
            && rest.starts_with(|next| next == '_' || needs_escape(next))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first three are the examples of ISO/IEC 29500-1, 22.9.2.19; the last text would become
    /// another one if only complete escapes were escaped.
    #[test]
    fn text_is_escaped() {
        for (text, escaped) in [
            ("\u{8}", "_x0008_"),
            ("_x0008_", "_x005F_x0008_"),
            ("a\r\nb", "a_x000D_\nb"),
            ("<_x & _x12>", "&lt;_x &amp; _x12&gt;"),
            ("_x00e9_x0041_", "_x005F_x00e9_x005F_x0041_"),
            ("_xäöü_", "_xäöü_"),
            ("_x0041\u{0}", "_x005F_x0041_x0000_"),
        ] {
            let mut out = String::new();
            escape(text, &mut out);
            assert_eq!(out, escaped, "{text:?}");
        }
    }

    #[test]
    fn rows_go_below_the_headings() {
        let mut rows = SheetXml::new(&[true, false]);
        for number in [1.5, 2.0] {
            rows.begin_row();
            rows.text(0, "a ");
            rows.number(1, number);
            rows.end_row().unwrap();
        }
        let headings = "<x><dimension ref=\"A1:B1\"/><sheetData><row r=\"1\"/></sheetData><y/></x>";
        let mut sheet = Vec::new();
        rows.insert_into(headings, &mut sheet).unwrap();
        let row = |number: u32, value: &str| {
            format!(
                "<row r=\"{number}\"><c r=\"A{number}\" s=\"1\" t=\"inlineStr\"><is><t xml:space=\"preserve\">a </t></is></c><c \
                 r=\"B{number}\"><v>{value}</v></c></row>"
            )
        };
        assert_eq!(
            String::from_utf8(sheet).unwrap(),
            format!(
                "<x><dimension ref=\"A1:B3\"/><sheetData><row r=\"1\"/>{}{}</sheetData><y/></x>",
                row(2, "1.5"),
                row(3, "2")
            )
        );
        assert!(SheetXml::new(&[]).insert_into("<sheetData/>", &mut Vec::new()).is_err());
    }
}
