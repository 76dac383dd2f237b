//! A draft from delimited text: finds the delimiter.

use obvert_convert::ConvertError;

use super::headings::{count_of_width, usual_width};
use super::table::Table;
use super::{Draft, refuse};
use crate::encoding::{self, Known};
use crate::grid::GridRow;
use crate::grid::text::{Swallowed, line_end, split, swallowed};

/// How much of a text is used to find the delimiter.
const SAMPLE: usize = 256 * 1024;
/// How much of a text is searched for rows; no table of [`super::ENOUGH`] rows is longer.
const MOST: usize = 8 * 1024 * 1024;
/// No cell is longer, so that an opening quotation mark without a closing one is detected.
const LONGEST: usize = 64 * 1024;

/// Drafts from a text.
pub(super) fn draft(source: &[u8], name: &str) -> Result<Draft, ConvertError> {
    let (text, charset, known) =
        encoding::decode(source, None).map_err(|(line, why)| refuse(name, line, why))?;
    refuse_controls(&text, name)?;
    let mut guesses = vec![match known {
        Known::Declared => format!("encoding {charset}, declared"),
        Known::Marked | Known::Guessed => format!("encoding {charset}, by its bytes"),
    }];
    let delimiter = delimiter(&text).ok_or_else(|| {
        let why = "no comma, semicolon, tab or bar splits its lines into the same number of cells; \
                   use a table with several columns";
        refuse(name, 1, why)
    })?;
    let (part, is_cut) = beginning(&text, MOST);
    let rows = match split(part, delimiter) {
        Ok(rows) => rows,
        Err((line, _)) if is_cut && part.len() - start_of(part, line) < LONGEST => {
            lines_before(part, line, delimiter)
        }
        Err((line, why)) => return Err(refuse(name, line, why)),
    };
    refuse_swallowed(&rows, delimiter, name)?;
    let wide = usual_width(&rows);
    let between = if delimiter == '\t' { "a tab".to_owned() } else { format!("{delimiter:?}") };
    let count = count_of_width(&rows, wide);
    guesses.push(format!(
        "{between} as the delimiter: it splits {count} of {} rows into {wide} cells",
        rows.len()
    ));
    if is_cut {
        guesses.push(format!("based on the first {} MB of {}", MOST >> 20, text.len() >> 20));
    }
    let table = Table {
        name,
        rows,
        delimiter,
        line_end: line_end(part),
        charset: Some(charset),
        marks: None,
        open_ended: false,
        merged: &[],
    };
    table.draft(guesses)
}

/// Refuses characters that no table has.
fn refuse_controls(text: &str, name: &str) -> Result<(), ConvertError> {
    let is_control = |letter: &char| {
        letter.is_control() && !matches!(letter, '\t' | '\r' | '\n' | '\u{c}' | '\u{80}'..='\u{9f}')
    };
    let Some((at, letter)) = text.char_indices().find(|(_, letter)| is_control(letter)) else {
        return Ok(());
    };
    let line = 1 + text[..at].matches('\n').count();
    let message = format!(
        "the character U+{:04X}, which no table has; save the table as CSV or as a workbook (.xlsx)",
        u32::from(letter)
    );
    Err(refuse(name, line, message))
}

/// Refuses a quotation mark that is closed by another one far below, so that it has swallowed rows.
fn refuse_swallowed(rows: &[GridRow], delimiter: char, name: &str) -> Result<(), ConvertError> {
    let wide = usual_width(rows);
    let Some(Swallowed { line, column, lines }) =
        rows.iter().find_map(|row| swallowed(row, wide, delimiter))
    else {
        return Ok(());
    };
    let message = format!(
        "a quotation mark starts a cell here, in column {column}, which spans {lines} lines and contains whole rows; close it on its own \
         line, or double each quotation mark in a cell that has some"
    );
    Err(refuse(name, line, message))
}

/// A text up to the last line end within a length, and whether any of it was cut off.
fn beginning(text: &str, most: usize) -> (&str, bool) {
    if text.len() <= most {
        return (text, false);
    }
    let end = text.as_bytes()[..most]
        .iter()
        .rposition(|byte| matches!(byte, b'\n' | b'\r'))
        .map_or(0, |at| at + 1);
    (&text[..end], true)
}

/// The start of a line. CR and LF, CR alone and LF alone end lines.
fn start_of(text: &str, line: usize) -> usize {
    let bytes = text.as_bytes();
    let ends = bytes.iter().enumerate().filter(|(at, byte)| match byte {
        b'\n' => true,
        b'\r' => bytes.get(at + 1) != Some(&b'\n'),
        _ => false,
    });
    let mut starts = std::iter::once(0).chain(ends.map(|(at, _)| at + 1));
    starts.nth(line.saturating_sub(1)).unwrap_or(text.len())
}

/// The rows before a line.
fn lines_before(text: &str, line: usize, delimiter: char) -> Vec<GridRow> {
    split(&text[..start_of(text, line)], delimiter).unwrap_or_default()
}

/// The delimiter that splits the most rows into the same number of cells, more than one. An
/// unclosed quotation mark does not rule a delimiter out.
fn delimiter(text: &str) -> Option<char> {
    let (sample, _) = beginning(text, SAMPLE);
    let by = |delimiter: char| match split(sample, delimiter) {
        Ok(rows) => (delimiter, rows),
        Err((line, _)) => (delimiter, lines_before(sample, line, delimiter)),
    };
    let good = [';', '\t', ',', '|'].into_iter().map(by).filter(|(_, rows)| usual_width(rows) > 1);
    let best = good.max_by_key(|(_, rows)| {
        let (wide, filled) =
            (usual_width(rows), rows.iter().filter(|row| !row.is_blank()).count().max(1));
        // More columns and more equal rows are better; a comma in every number makes two columns of
        // many.
        let agree = count_of_width(rows, wide) * 1000 / filled;
        agree * agree * (wide - 1)
    });
    best.map(|(delimiter, _)| delimiter)
}
