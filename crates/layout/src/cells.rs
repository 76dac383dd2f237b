//! A table as text with delimiters (RFC 4180, other delimiters allowed), to a grid and back. The cells are split here and not by a library,
//! since rows are counted with the blank ones as a spreadsheet counts them, and a quotation mark that is never closed must not
//! swallow the rest of the file without a word.

use obvert_model::layout::{Encoding, Layout, LineEnd, TableForm};

use super::bytes::{self, Told};
use super::grid::{Grid, GridCell, GridRow};
use obvert_convert::{ConvertError, Location};

fn form(file: &str, line: usize, message: String) -> ConvertError {
    let place = Location { file: file.to_owned(), line, column: None, heading: None };
    ConvertError::Form { place: Some(place), message }
}

fn delimiter(table: &TableForm) -> char {
    table.delimiter.chars().next().unwrap_or(',')
}

/// Splits a table.
pub(super) fn read(source: &[u8], file: &str, layout: &Layout, table: &TableForm) -> Result<Grid, ConvertError> {
    let (text, encoding, told) = bytes::decode(source, table.encoding).map_err(|(line, why)| form(file, line, why))?;
    let mut notes = Vec::new();
    match told {
        Told::Marked => {
            notes.push(format!(
                "the table begins with a byte-order mark, so it was read as {encoding} whatever the layout says"
            ));
        }
        Told::Guessed => {
            notes.push(format!("the layout {} names no encoding; the table was taken for {encoding}", layout.id));
        }
        Told::Plain => {}
    }
    let mut rows = split(&text, delimiter(table)).map_err(|(line, why)| form(file, line, why))?;
    let wide = rows.get(table.heading_row.unwrap_or(1).saturating_sub(1) as usize).map_or(0, |row| row.cells.len());
    for row in &mut rows {
        if let Some(Swallowed { line, column, lines }) = swallowed(row, wide, delimiter(table)) {
            row.flawed = column;
            row.flaw = Some(format!(
                "a quotation mark begins a cell in line {line} that goes on over {lines} lines and has whole rows in it; close it on its own line, or \
                 double each quotation mark within a cell"
            ));
        }
    }
    let mut grid = Grid::under_headings(rows, table).map_err(|why| form(file, 1, why))?;
    let (line, headings) = (grid.heading_line, &grid.headings);
    if headings.len() == 1 && layout.columns.len() > 1 {
        let message = format!(
            "the headings are not separated by {:?}, as the layout {} says; is this the right file?",
            &*table.delimiter, layout.id
        );
        return Err(form(file, line, message));
    }
    grid.notes = notes;
    Ok(grid)
}

/// A cell that has whole rows in it, since a quotation mark begins it that another one far below ends.
pub(super) struct Swallowed {
    pub(super) line: usize,
    pub(super) column: usize,
    pub(super) lines: usize,
}

/// The first such cell of a row, in a table of so many columns.
pub(super) fn swallowed(row: &GridRow, wide: usize, delimiter: char) -> Option<Swallowed> {
    let cell = row.cells.iter().find(|cell| cell.text.contains('\n'))?;
    let whole = |line: &str| line.matches(delimiter).count() + 2 > wide.max(3);
    if row.flaw.is_none() && !cell.text.split('\n').skip(1).any(whole) {
        return None;
    }
    // Line feeds in the cells before it are the only ones that move it.
    let before = row.cells.iter().take_while(|other| !std::ptr::eq(*other, cell));
    let line = row.line + before.map(|cell| cell.text.matches('\n').count()).sum::<usize>();
    Some(Swallowed { line, column: cell.column, lines: cell.text.matches('\n').count() + 1 })
}

/// The rows of a text, blank ones as well, but for those after the last that has anything in it.
///
/// # Errors
/// When a quotation mark is never closed: the line that it stands on, and what to do.
pub(super) fn split(text: &str, delimiter: char) -> Result<Vec<GridRow>, (usize, String)> {
    let mut rows = Vec::new();
    let (mut line, mut letters) = (1, text.chars().peekable());
    let mut wide = 0;
    while letters.peek().is_some() {
        // Most rows are as wide as the one above.
        let mut row = GridRow { line, cells: Vec::with_capacity(wide), ..GridRow::default() };
        loop {
            let mut cell = String::new();
            let quoted = letters.next_if_eq(&'"').is_some();
            if quoted {
                let began = line;
                loop {
                    match letters.next() {
                        Some('"') if letters.next_if_eq(&'"').is_some() => cell.push('"'),
                        Some('"') => break,
                        Some('\r') => {
                            // One kind of line end in a cell, as in a text on this side.
                            letters.next_if_eq(&'\n');
                            cell.push('\n');
                            line += 1;
                        }
                        Some(letter) => {
                            line += usize::from(letter == '\n');
                            cell.push(letter);
                        }
                        None => {
                            return Err((
                                began,
                                "a quotation mark begins a cell here and none ends it, so that the rest of the file would be one cell; \
                                 close it, or double each quotation mark in a cell that has some"
                                    .to_owned(),
                            ));
                        }
                    }
                }
            }
            let mut after = 0;
            while let Some(letter) = letters.next_if(|letter| *letter != delimiter && !matches!(letter, '\r' | '\n')) {
                after += usize::from(!letter.is_whitespace());
                if !quoted || after > 0 {
                    cell.push(letter);
                }
            }
            let column = row.cells.len() + 1;
            if quoted && after > 0 && row.flaw.is_none() {
                row.flawed = column;
                row.flaw = Some(
                    "text stands behind the closing quotation mark; double each quotation mark within a cell"
                        .to_owned(),
                );
            }
            row.cells.push(GridCell { text: cell, line: row.line, column, ..GridCell::default() });
            match letters.next() {
                Some('\r') => {
                    letters.next_if_eq(&'\n');
                    break;
                }
                Some(letter) if letter == delimiter => {}
                _ => break,
            }
        }
        line += 1;
        wide = row.cells.len();
        rows.push(row);
    }
    while rows.last().is_some_and(|row| row.flaw.is_none() && row.is_blank()) {
        rows.pop();
    }
    Ok(rows)
}

/// Writes a table: its headings, in as many rows as they take, and its rows.
pub(super) fn write(headings: &[&str], rows: &[Vec<String>], table: &TableForm) -> Vec<u8> {
    let end = if table.line_end == Some(LineEnd::Lf) { "\n" } else { "\r\n" };
    let delimiter = delimiter(table);
    let mut text = String::new();
    let mut put = |cells: &[&str]| {
        for (index, cell) in cells.iter().enumerate() {
            if index > 0 {
                text.push(delimiter);
            }
            let plain = !cell.contains([delimiter, '"', '\r', '\n']);
            // A cell alone in its row must not look like a blank line.
            if plain && !(cells.len() == 1 && cell.is_empty()) {
                text.push_str(cell);
            } else {
                text.push('"');
                text.push_str(&cell.replace('"', "\"\""));
                text.push('"');
            }
        }
        text.push_str(end);
    };
    // What stands above the headings is the office's own and not known here; the rows keep their places.
    for _ in 1..table.heading_row.unwrap_or(1) {
        put(&vec![""; headings.len()]);
    }
    let deep = table.heading_rows.unwrap_or(1).max(1) as usize;
    for row in 0..deep {
        let part = |heading: &str| heading.split('\n').nth(row).unwrap_or_default().to_owned();
        let parts: Vec<String> = headings
            .iter()
            .enumerate()
            .map(|(index, heading)| {
                // Cells that a spreadsheet would have merged: said once, over the first of them.
                let above = |heading: &str| heading.split('\n').take(row + 1).map(str::to_owned).collect::<Vec<_>>();
                let same = index > 0 && row + 1 < deep && above(headings[index - 1]) == above(heading);
                if same { String::new() } else { part(heading) }
            })
            .collect();
        put(&parts.iter().map(String::as_str).collect::<Vec<_>>());
    }
    for row in rows {
        put(&row.iter().map(String::as_str).collect::<Vec<_>>());
    }
    bytes::encode(&text, table.encoding.unwrap_or(Encoding::Utf8)).0
}

#[cfg(test)]
mod tests {
    use super::super::grid;
    use super::*;

    fn cells(text: &str) -> Vec<(usize, Vec<String>)> {
        let rows = split(text, ',').unwrap();
        rows.into_iter().map(|row| (row.line, row.cells.into_iter().map(|cell| cell.text).collect())).collect()
    }

    fn is(rows: &[(usize, &[&str])]) -> Vec<(usize, Vec<String>)> {
        rows.iter().map(|(line, cells)| (*line, cells.iter().map(|cell| (*cell).to_owned()).collect())).collect()
    }

    /// RFC 4180 section 2, rules 1 to 7; CR alone and LF alone end lines too, which is common practice.
    #[test]
    fn cells_are_those_of_rfc_4180() {
        assert_eq!(cells("a,b\r\nc,d\r\n"), is(&[(1, &["a", "b"]), (2, &["c", "d"])]));
        assert_eq!(cells("a,b\rc,d"), is(&[(1, &["a", "b"]), (2, &["c", "d"])]));
        assert_eq!(cells("\"a,\"\"b\"\"\",\"c\r\nd\"\ne,"), is(&[(1, &["a,\"b\"", "c\nd"]), (3, &["e", ""])]));
        assert_eq!(cells("12'6\",6\"\n"), is(&[(1, &["12'6\"", "6\""])]));
        assert_eq!(cells("a\n\n,\nb\n\n"), is(&[(1, &["a"]), (2, &[""]), (3, &["", ""]), (4, &["b"])]));
        assert_eq!(cells(""), is(&[]));
    }

    #[test]
    fn a_quotation_mark_swallows_nothing() {
        assert_eq!(split("a,b\n\"c,d\ne,f\n", ',').unwrap_err().0, 2);
        let rows = split("\"12\" pipe,x\ny,z\n", ',').unwrap();
        assert!(rows[0].flaw.as_deref().unwrap().starts_with("text stands behind"));
        assert_eq!(rows[0].flawed, 1);
        assert_eq!((rows[1].flaw.clone(), rows.len()), (None, 2));
    }

    #[test]
    fn headings_in_several_rows_are_put_together_and_taken_apart() {
        let text = "Pipe,Clock,,Grade,\r\n,from,to,,\r\n";
        let rows = split(text, ',').unwrap();
        let found = grid::headings(&rows);
        assert_eq!(found, ["Pipe", "Clock\nfrom", "Clock\nto", "Grade"]);
        let table: TableForm =
            serde_json::from_value(serde_json::json!({"delimiter": ",", "heading_rows": 2})).unwrap();
        let found: Vec<&str> = found.iter().map(String::as_str).collect();
        let written = write(&found, &[], &table);
        assert_eq!(String::from_utf8(written).unwrap(), "Pipe,Clock,,Grade\r\n,from,to,\r\n");
    }
}
