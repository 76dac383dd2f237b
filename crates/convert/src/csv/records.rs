//! One CSV file as rows with their line numbers. The `csv` crate splits it, and accepts almost
//! anything; ambiguous files (an unclosed quotation mark, a row with too few cells, another
//! separator) are detected and refused here.

use std::borrow::Cow;

use csv::StringRecord;

use super::cell;
use crate::ConvertError;
use crate::tables::assemble::format_error;
use crate::tables::cell::{Cell, CellError};
use crate::tables::plan::Column;
use crate::tables::{Record, Rows};

/// The rows of one file.
pub(super) struct Records<'b> {
    name: &'b str,
    source: &'b [u8],
    reader: csv::Reader<&'b [u8]>,
    record: StringRecord,
    headings: StringRecord,
    /// The position up to which lines have been counted.
    counted: usize,
    line: usize,
}

impl Record for StringRecord {
    fn cell(&self, number: usize, column: &Column) -> Result<Cell<'_>, CellError> {
        let text = self.get(number).unwrap_or_default();
        Ok(Cell::of_text(if cell::guarded(&column.kind) { cell::plain(text) } else { text }))
    }
    fn name(&self, number: usize) -> Cow<'_, str> {
        cell::plain(self.get(number).unwrap_or_default()).into()
    }
    fn shown(&self, number: usize) -> Cow<'_, str> {
        self.get(number).unwrap_or_default().into()
    }
}

impl<'b> Records<'b> {
    /// Opens a file and reads its headings.
    pub(super) fn open(name: &'b str, source: &'b [u8]) -> Result<Self, ConvertError> {
        let source = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
        if let Err(error) = std::str::from_utf8(source) {
            return Err(encoding(name, source, error.valid_up_to()));
        }
        let reader =
            csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(source);
        let mut records = Self {
            name,
            source,
            reader,
            record: StringRecord::new(),
            headings: StringRecord::new(),
            counted: 0,
            line: 1,
        };
        if records.read()?.is_none() {
            return Err(format_error(
                name,
                1,
                "the file is empty; write the headings in its first row, even if there are no other rows",
            ));
        }
        std::mem::swap(&mut records.headings, &mut records.record);
        let other = |mark: char| {
            records.headings.len() == 1
                && records.headings.get(0).is_some_and(|all| all.contains(mark))
        };
        if other(';') || other('\t') {
            let mark = if other(';') { "semicolons" } else { "tabs" };
            let message = format!(
                "the cells are separated by {mark}; save the table as CSV in UTF-8 with commas between cells and decimal points"
            );
            return Err(format_error(name, 1, message));
        }
        Ok(records)
    }

    fn read(&mut self) -> Result<Option<usize>, ConvertError> {
        let position = |reader: &csv::Reader<&[u8]>| {
            usize::try_from(reader.position().byte()).unwrap_or(usize::MAX)
        };
        let mut start = position(&self.reader).min(self.source.len());
        let read = self.reader.read_record(&mut self.record);
        let end = position(&self.reader).min(self.source.len());
        // The crate counts the second half of a CRLF, and empty lines, as part of the next row.
        start +=
            self.source[start..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
        self.line += breaks(&self.source[self.counted..start]);
        self.counted = start;
        match read {
            Ok(false) => return Ok(None),
            Ok(true) => {}
            Err(error) => {
                return Err(format_error(self.name, self.line, format!("not CSV: {error}")));
            }
        }
        let marks = self.source[start..end.max(start)].iter().filter(|byte| **byte == b'"').count();
        if marks % 2 == 1 {
            let message = "a quotation mark is not closed; put the cell in quotation marks, and double each quotation mark inside it";
            return Err(format_error(self.name, self.line, message));
        }
        Ok(Some(self.line))
    }
}

impl Rows for Records<'_> {
    type Row = StringRecord;

    /// The headings, in the order of the file.
    fn headings(&self) -> impl Iterator<Item = &str> {
        self.headings.iter()
    }

    /// The line on which the next row starts, and its cells, as many as there are headings. Empty
    /// rows, which spreadsheets leave behind, are skipped.
    fn next_row(&mut self) -> Result<Option<(usize, &StringRecord)>, ConvertError> {
        let line = loop {
            match self.read()? {
                None => return Ok(None),
                Some(_) if self.record.iter().all(str::is_empty) => {}
                Some(line) => break line,
            }
        };
        let (cells, headings) = (self.record.len(), self.headings.len());
        if cells != headings {
            let hint = if self.record.iter().any(|cell| cell.contains('\n')) {
                "; one of them contains a line break: check for a missing quotation mark"
            } else if cells > headings {
                "; put a cell that contains a comma in quotation marks"
            } else {
                "; write the commas of the empty cells at the end too"
            };
            return Err(format_error(
                self.name,
                line,
                format!("the row has {cells} cells, and there are {headings} headings{hint}"),
            ));
        }
        Ok(Some((line, &self.record)))
    }
}

/// The number of line ends in a piece of a file: LF, CRLF or CR. A CR at the end is counted, and
/// the LF after it is then not.
fn breaks(piece: &[u8]) -> usize {
    let feeds = piece.iter().filter(|byte| **byte == b'\n').count();
    let returns = piece.windows(2).filter(|pair| pair[0] == b'\r' && pair[1] != b'\n').count();
    feeds + returns + usize::from(piece.last() == Some(&b'\r'))
}

fn encoding(name: &str, source: &[u8], valid: usize) -> ConvertError {
    let line = 1 + breaks(&source[..valid]);
    let hint = match source {
        [0xFF, 0xFE, ..] | [0xFE, 0xFF, ..] => "it starts like UTF-16",
        [b'P', b'K', 3, 4, ..] => "it starts like a zip archive or a workbook",
        _ if source.contains(&0) => "it looks binary",
        _ => "this line has a character of an older single-byte encoding",
    };
    format_error(
        name,
        line,
        format!("the file is not in UTF-8: {hint}; save the table as CSV in UTF-8"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(source: &str) -> Result<Vec<(usize, Vec<String>)>, String> {
        let mut records =
            Records::open("t.csv", source.as_bytes()).map_err(|error| error.to_string())?;
        let mut rows = Vec::new();
        while let Some((line, record)) = records.next_row().map_err(|error| error.to_string())? {
            rows.push((line, record.iter().map(str::to_owned).collect()));
        }
        Ok(rows)
    }

    /// RFC 4180 section 2: CRLF or none at the end, quotes doubled, breaks inside quotes.
    #[test]
    fn rows_have_the_line_on_which_they_begin() {
        for end in ["\r\n", "\n", "\r"] {
            let source = ["a,b", "1,\"x", "y\"", "", ",", "2,\"\"\"\"", "3, "].join(end);
            let rows = rows(&source).unwrap();
            let lines: Vec<usize> = rows.iter().map(|(line, _)| *line).collect();
            assert_eq!(lines, [2, 6, 7], "{end:?}");
            assert_eq!(rows[0].1, ["1", &format!("x{end}y")]);
            assert_eq!(rows[1].1, ["2", "\""]);
            assert_eq!(rows[2].1, ["3", " "]);
        }
    }

    #[test]
    fn what_is_ambiguous_is_refused_with_its_line() {
        let cases = [
            ("", "t.csv:1: the file is empty"),
            ("a;b\r\n1;2\r\n", "t.csv:1: the cells are separated by semicolons"),
            ("a\tb\r\n1\t2\r\n", "t.csv:1: the cells are separated by tabs"),
            ("a,b\r\n1,2\r\n3\r\n", "t.csv:3: the row has 1 cells"),
            ("a,b\r\n1,2,3\r\n", "t.csv:2: the row has 3 cells"),
            ("a,b\r\n1,2\r\n3,6\" pipe\r\n", "t.csv:3: a quotation mark is not closed"),
            ("a,b\r\n1,\"2\r\n3,4\r\n", "t.csv:2: a quotation mark is not closed"),
        ];
        for (source, message) in cases {
            let error = rows(source).unwrap_err();
            assert!(error.starts_with(message), "{source:?}: {error}");
        }
    }

    #[test]
    fn other_encodings_are_named_with_their_line() {
        let open = |source: &[u8]| {
            Records::open("t.csv", source).err().map(|error| error.to_string()).unwrap_or_default()
        };
        assert!(open(b"a,b\r\n1,Stra\xDFe\r\n").starts_with("t.csv:2: the file is not in UTF-8"));
        let utf16: Vec<u8> = std::iter::once(0xFEFF)
            .chain("a,b\r\n".encode_utf16())
            .flat_map(u16::to_le_bytes)
            .collect();
        assert!(open(&utf16).contains("UTF-16"));
        assert!(open(b"PK\x03\x04\xFF\xFF").contains("workbook"));
        assert_eq!(open(b"\xEF\xBB\xBFa,b\r\n"), "");
    }
}
