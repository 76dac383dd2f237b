//! Delimited text (RFC 4180, with any delimiter), to a grid and back. The csv crate writes it. It
//! cannot read it: blank rows count as in a spreadsheet, a quotation mark that is never closed must
//! not swallow the rest of the file, and text after a closing quotation mark is an error of its row
//! only.

use std::iter::Peekable;
use std::str::Chars;

use csv::{Terminator, WriterBuilder};
use obvert_convert::ConvertError;
use obvert_model::layout::{LineEnd, TableForm};

use super::{Grid, GridCell, GridRow, refuse};
use crate::encoding::{self, Charset, Known};
use crate::plan::Plan;

fn delimiter(table: &TableForm) -> char {
    table.delimiter.chars().next().unwrap_or(',')
}

/// Reads a table.
pub(crate) fn read(
    source: &[u8],
    file: &str,
    plan: &Plan<'_>,
    table: &TableForm,
) -> Result<Grid, ConvertError> {
    let (text, charset, known) =
        encoding::decode(source, plan.charset).map_err(|(line, why)| refuse(file, line, why))?;
    let id = &plan.layout.id;
    let note = match known {
        Known::Marked => Some(format!(
            "the table starts with a byte-order mark, so it was read as {charset}, not as the layout declares"
        )),
        Known::Guessed => {
            Some(format!("the layout {id} declares no encoding; the table was read as {charset}"))
        }
        Known::Declared => None,
    };
    let Split { mut rows, normalised } =
        split_all(&text, delimiter(table)).map_err(|(line, why)| refuse(file, line, why))?;
    let wide = rows
        .get(table.heading_row.unwrap_or(1).saturating_sub(1) as usize)
        .map_or(0, |row| row.cells.len());
    for row in &mut rows {
        if let Some(Swallowed { line, column, lines }) = swallowed(row, wide, delimiter(table)) {
            row.flawed = column;
            row.flaw = Some(format!(
                "a quotation mark starts a cell in line {line} that spans {lines} lines and contains whole rows; close it on its own line, or \
                 double each quotation mark in a cell"
            ));
        }
    }
    let mut grid = Grid::under_headings(rows, table).map_err(|why| refuse(file, 1, why))?;
    if grid.headings.len() == 1 && plan.columns.len() > 1 {
        let message = format!(
            "the headings are not separated by {:?}, which the layout {id} declares; check that this is the right file",
            &*table.delimiter
        );
        return Err(refuse(file, grid.heading_line, message));
    }
    grid.notes.extend(note);
    if normalised > 0 {
        let cells = if normalised == 1 {
            "1 line break".to_owned()
        } else {
            format!("{normalised} line breaks")
        };
        grid.notes.push(format!("{cells} of CR, or CR and LF, inside cells became LF"));
    }
    Ok(grid)
}

/// A cell that contains whole rows, because a quotation mark opens it and another one far below
/// closes it.
pub(crate) struct Swallowed {
    pub(crate) line: usize,
    pub(crate) column: usize,
    pub(crate) lines: usize,
}

/// The first such cell of a row, in a table with a number of columns.
pub(crate) fn swallowed(row: &GridRow, wide: usize, delimiter: char) -> Option<Swallowed> {
    let cell = row.cells.iter().find(|cell| cell.text.contains('\n'))?;
    let whole = |line: &str| line.matches(delimiter).count() + 2 > wide.max(3);
    if row.flaw.is_none() && !cell.text.split('\n').skip(1).any(whole) {
        return None;
    }
    // Only line feeds in the cells before it move its line.
    let before = row.cells.iter().take_while(|other| !std::ptr::eq(*other, cell));
    let line = row.line + before.map(|cell| cell.text.matches('\n').count()).sum::<usize>();
    Some(Swallowed { line, column: cell.column, lines: cell.text.matches('\n').count() + 1 })
}

/// The rows of a text, including blank ones, up to the last row with any content.
///
/// # Errors
/// When a quotation mark is never closed: its line, and what to do.
pub(crate) fn split(text: &str, delimiter: char) -> Result<Vec<GridRow>, (usize, String)> {
    Ok(split_all(text, delimiter)?.rows)
}

/// The rows of a text.
struct Split {
    rows: Vec<GridRow>,
    /// The number of line breaks in cells that became LF.
    normalised: usize,
}

fn split_all(text: &str, delimiter: char) -> Result<Split, (usize, String)> {
    let letters = text.chars().peekable();
    let mut splitter = Splitter { letters, delimiter, line: 1, normalised: 0 };
    let mut rows: Vec<GridRow> = Vec::new();
    while splitter.letters.peek().is_some() {
        // Most rows are as wide as the previous one.
        let wide = rows.last().map_or(0, |row| row.cells.len());
        rows.push(splitter.row(wide)?);
    }
    while rows.last().is_some_and(|row| row.flaw.is_none() && row.is_blank()) {
        rows.pop();
    }
    Ok(Split { rows, normalised: splitter.normalised })
}

/// A text that is being split.
struct Splitter<'t> {
    letters: Peekable<Chars<'t>>,
    delimiter: char,
    line: usize,
    normalised: usize,
}

/// The end of a cell.
#[derive(PartialEq)]
enum End {
    Delimiter,
    Row,
}

impl Splitter<'_> {
    fn row(&mut self, wide: usize) -> Result<GridRow, (usize, String)> {
        let mut row =
            GridRow { line: self.line, cells: Vec::with_capacity(wide), ..GridRow::default() };
        loop {
            let column = row.cells.len() + 1;
            let (text, is_flawed) = self.cell()?;
            if is_flawed && row.flaw.is_none() {
                row.flawed = column;
                row.flaw = Some(
                    "there is text after the closing quotation mark; double each quotation mark in a cell"
                        .to_owned(),
                );
            }
            row.cells.push(GridCell { text, line: row.line, column, ..GridCell::default() });
            if self.end() == End::Row {
                self.line += 1;
                return Ok(row);
            }
        }
    }

    /// The text of a cell, and whether it is followed by more text after its closing quotation
    /// mark.
    fn cell(&mut self) -> Result<(String, bool), (usize, String)> {
        let is_quoted = self.letters.next_if_eq(&'"').is_some();
        let mut cell = if is_quoted { self.quoted()? } else { String::new() };
        let mut is_more = false;
        let delimiter = self.delimiter;
        let is_of_cell = |letter: &char| *letter != delimiter && !matches!(letter, '\r' | '\n');
        while let Some(letter) = self.letters.next_if(is_of_cell) {
            is_more |= !letter.is_whitespace();
            // White space after the closing quotation mark is ignored.
            if !is_quoted || is_more {
                cell.push(letter);
            }
        }
        Ok((cell, is_quoted && is_more))
    }

    /// The text up to the closing quotation mark.
    fn quoted(&mut self) -> Result<String, (usize, String)> {
        let (mut cell, began) = (String::new(), self.line);
        loop {
            match self.letters.next() {
                Some('"') if self.letters.next_if_eq(&'"').is_some() => cell.push('"'),
                Some('"') => return Ok(cell),
                Some('\r') => {
                    // Line ends in cells are normalised.
                    self.letters.next_if_eq(&'\n');
                    cell.push('\n');
                    self.line += 1;
                    self.normalised += 1;
                }
                Some(letter) => {
                    self.line += usize::from(letter == '\n');
                    cell.push(letter);
                }
                None => {
                    let why = "a quotation mark is not closed, so the rest of the file would be one cell; \
                               close it, or double each quotation mark in the cell";
                    return Err((began, why.to_owned()));
                }
            }
        }
    }

    fn end(&mut self) -> End {
        match self.letters.next() {
            Some('\r') => {
                self.letters.next_if_eq(&'\n');
                End::Row
            }
            Some(letter) if letter == self.delimiter => End::Delimiter,
            _ => End::Row,
        }
    }
}

/// The line ends of a text: LF only, or none of those to write as they are.
pub(crate) fn line_end(text: &str) -> Option<LineEnd> {
    (text.contains('\n') && !text.contains('\r')).then_some(LineEnd::Lf)
}

/// Writes a table: its headings, in as many rows as they take, and its rows.
///
/// # Errors
/// When its delimiter is not one byte.
pub(crate) fn write(
    headings: &[&str],
    rows: &[Vec<String>],
    table: &TableForm,
    charset: Charset,
) -> Result<Vec<u8>, ConvertError> {
    let refused = |error: &dyn std::fmt::Display| ConvertError::Refused {
        message: format!("the table cannot be written: {error}"),
    };
    let delimiter = u8::try_from(delimiter(table)).map_err(|error| refused(&error))?;
    let terminator =
        if table.line_end == Some(LineEnd::Lf) { Terminator::Any(b'\n') } else { Terminator::CRLF };
    let mut builder = WriterBuilder::new();
    let mut writer = builder.delimiter(delimiter).terminator(terminator).from_writer(Vec::new());
    // The office's own rows above the headings are not known here; blank rows replace them.
    for _ in 1..table.heading_row.unwrap_or(1) {
        writer.write_record(headings.iter().map(|_| "")).map_err(|error| refused(&error))?;
    }
    let deep = table.heading_rows.unwrap_or(1).max(1) as usize;
    for row in 0..deep {
        writer.write_record(heading_row(headings, row, deep)).map_err(|error| refused(&error))?;
    }
    for row in rows {
        writer.write_record(row).map_err(|error| refused(&error))?;
    }
    let bytes = writer.into_inner().map_err(|error| refused(&error))?;
    let text = String::from_utf8(bytes).map_err(|error| refused(&error))?;
    Ok(encoding::encode(&text, charset).0)
}

/// One of the rows of headings. A text that a spreadsheet would merge over several columns is
/// written to the first.
fn heading_row<'h>(headings: &[&'h str], row: usize, deep: usize) -> Vec<&'h str> {
    let part = |heading: &'h str, row: usize| heading.split('\n').nth(row).unwrap_or_default();
    let is_same = |one: &'h str, other: &'h str| {
        one.split('\n').take(row + 1).eq(other.split('\n').take(row + 1))
    };
    let cell = |(index, heading): (usize, &&'h str)| {
        let is_merged = index > 0 && row + 1 < deep && is_same(headings[index - 1], heading);
        if is_merged { "" } else { part(heading, row) }
    };
    headings.iter().enumerate().map(cell).collect()
}

#[cfg(test)]
mod tests {
    use super::super::headings;
    use super::*;

    fn cells(text: &str) -> Vec<(usize, Vec<String>)> {
        let rows = split(text, ',').unwrap();
        rows.into_iter()
            .map(|row| (row.line, row.cells.into_iter().map(|cell| cell.text).collect()))
            .collect()
    }

    fn is(rows: &[(usize, &[&str])]) -> Vec<(usize, Vec<String>)> {
        rows.iter()
            .map(|(line, cells)| (*line, cells.iter().map(|cell| (*cell).to_owned()).collect()))
            .collect()
    }

    /// RFC 4180 section 2, rules 1 to 7; CR alone and LF alone end lines too, which is common
    /// practice.
    #[test]
    fn cells_are_those_of_rfc_4180() {
        assert_eq!(cells("a,b\r\nc,d\r\n"), is(&[(1, &["a", "b"]), (2, &["c", "d"])]));
        assert_eq!(cells("a,b\rc,d"), is(&[(1, &["a", "b"]), (2, &["c", "d"])]));
        assert_eq!(
            cells("\"a,\"\"b\"\"\",\"c\r\nd\"\ne,"),
            is(&[(1, &["a,\"b\"", "c\nd"]), (3, &["e", ""])])
        );
        assert_eq!(cells("12'6\",6\"\n"), is(&[(1, &["12'6\"", "6\""])]));
        assert_eq!(
            cells("a\n\n,\nb\n\n"),
            is(&[(1, &["a"]), (2, &[""]), (3, &["", ""]), (4, &["b"])])
        );
        assert_eq!(cells(""), is(&[]));
    }

    #[test]
    fn a_quotation_mark_swallows_nothing() {
        assert_eq!(split("a,b\n\"c,d\ne,f\n", ',').unwrap_err().0, 2);
        let rows = split("\"12\" pipe,x\ny,z\n", ',').unwrap();
        assert!(rows[0].flaw.as_deref().unwrap().starts_with("there is text after"));
        assert_eq!(rows[0].flawed, 1);
        assert_eq!((rows[1].flaw.clone(), rows.len()), (None, 2));
    }

    #[test]
    fn headings_in_several_rows_are_put_together_and_taken_apart() {
        let text = "Pipe,Clock,,Grade,\r\n,from,to,,\r\n";
        let rows = split(text, ',').unwrap();
        let found = headings(&rows);
        assert_eq!(found, ["Pipe", "Clock\nfrom", "Clock\nto", "Grade"]);
        let table: TableForm =
            serde_json::from_value(serde_json::json!({"delimiter": ",", "heading_rows": 2}))
                .unwrap();
        let found: Vec<&str> = found.iter().map(String::as_str).collect();
        let written = write(&found, &[], &table, Charset::UTF_8).unwrap();
        assert_eq!(String::from_utf8(written).unwrap(), "Pipe,Clock,,Grade\r\n,from,to,\r\n");
    }
}
