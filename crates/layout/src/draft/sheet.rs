//! A table, from a text or from the sheet of a workbook, as far as it must be understood before its columns can be judged: what stands between cells, which
//! rows are headings, and which rows are no whole rows.

use std::collections::BTreeMap;

use obvert_model::layout::Encoding;

use super::super::bytes::{self, Told};
use super::super::cells::{self, Swallowed};
use super::super::grid::{self, GridRow};
use super::choose::{Column, Level};
use super::fill::{Form, Table};
use super::gaps::Merged;
use super::look::Look;
use super::marks::NumberMarks;
use super::{Draft, ENOUGH, american, blocks, fail, sizes, words};
use obvert_convert::ConvertError;

/// As much of a text as a delimiter is told from.
const SAMPLE: usize = 256 * 1024;
/// As much of a text as is looked at for rows; no table of [`ENOUGH`] rows is longer.
const MOST: usize = 8 * 1024 * 1024;
/// No cell is longer; what a quotation mark opens is then not merely cut off.
const LONGEST: usize = 64 * 1024;
/// Headings below this row are none.
const DEEPEST: usize = 40;

/// Drafts from a text.
pub(super) fn of_text(source: &[u8], name: &str) -> Result<Draft, ConvertError> {
    let (text, encoding, told) = bytes::decode(source, None).map_err(|(line, why)| fail(name, line, why))?;
    let control =
        |letter: char| letter.is_control() && !matches!(letter, '\t' | '\r' | '\n' | '\u{c}' | '\u{80}'..='\u{9f}');
    if let Some(at) = text.find(control) {
        let line = 1 + text[..at].matches('\n').count();
        let letter = text[at..].chars().next().unwrap_or_default();
        let message = format!(
            "the character U+{:04X}, which no table has; is this a table? save it as CSV or as a workbook (.xlsx)",
            u32::from(letter)
        );
        return Err(fail(name, line, message));
    }
    let mut guesses = vec![match told {
        Told::Plain => format!("encoding {encoding}, for sure"),
        Told::Marked | Told::Guessed => format!("encoding {encoding}, by its bytes"),
    }];
    let delimiter = delimited(&text).ok_or_else(|| {
        let why = "no comma, semicolon, tab or bar cuts its lines into as many cells each, and the table of a survey has several columns; \
                   is this a table?";
        fail(name, 1, why)
    })?;
    let (part, cut) = beginning(&text, MOST);
    let rows = match cells::split(part, delimiter) {
        Ok(rows) => rows,
        Err((line, _)) if cut && part.len() - start_of(part, line) < LONGEST => whole_before(part, line, delimiter),
        Err((line, why)) => return Err(fail(name, line, why)),
    };
    swallowed(&rows, delimiter, name)?;
    let wide = modal(&rows);
    let between = if delimiter == '\t' { "a tab".to_owned() } else { format!("{delimiter:?}") };
    guesses.push(format!("{between} between cells: it cuts {} of {} rows into {wide}", count(&rows, wide), rows.len()));
    if cut {
        guesses.push(format!("all by the first {} MB of {}", MOST >> 20, text.len() >> 20));
    }
    let file = File { name, rows, delimiter, encoding: Some(encoding), marks: None, open_ended: false, merged: &[] };
    file.draft(guesses)
}

/// A quotation mark that another one far below ends has swallowed rows.
fn swallowed(rows: &[GridRow], delimiter: char, name: &str) -> Result<(), ConvertError> {
    let wide = modal(rows);
    for row in rows {
        if let Some(Swallowed { line, column, lines }) = cells::swallowed(row, wide, delimiter) {
            let message = format!(
                "a quotation mark begins a cell here, in column {column}, which goes on over {lines} lines and has whole rows in it; close it on its own \
                 line, or double each quotation mark in a cell that has some"
            );
            return Err(fail(name, line, message));
        }
    }
    Ok(())
}

/// A text up to the last line end within a length, and whether that cut anything off.
fn beginning(text: &str, most: usize) -> (&str, bool) {
    if text.len() <= most {
        return (text, false);
    }
    let end = text.as_bytes()[..most].iter().rposition(|byte| matches!(byte, b'\n' | b'\r')).map_or(0, |at| at + 1);
    (&text[..end], true)
}

/// Where a line begins.
fn start_of(text: &str, line: usize) -> usize {
    // CR and LF, CR alone and LF alone end lines.
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
fn whole_before(text: &str, line: usize, delimiter: char) -> Vec<GridRow> {
    cells::split(&text[..start_of(text, line)], delimiter).unwrap_or_default()
}

/// How many cells most rows have.
fn modal(rows: &[GridRow]) -> usize {
    let mut often: BTreeMap<usize, usize> = BTreeMap::new();
    rows.iter().filter(|row| !row.is_blank()).for_each(|row| *often.entry(row.cells.len()).or_default() += 1);
    often.into_iter().max_by_key(|(wide, times)| (*times, *wide)).map_or(0, |(wide, _)| wide)
}

fn count(rows: &[GridRow], wide: usize) -> usize {
    rows.iter().filter(|row| row.cells.len() == wide).count()
}

/// The delimiter that cuts the most rows into as many cells, more than one. A quotation mark that nothing ends is no reason to take another.
fn delimited(text: &str) -> Option<char> {
    let (sample, _) = beginning(text, SAMPLE);
    let by = |delimiter: char| match cells::split(sample, delimiter) {
        Ok(rows) => (delimiter, rows),
        Err((line, _)) => (delimiter, whole_before(sample, line, delimiter)),
    };
    let good = [';', '\t', ',', '|'].into_iter().map(by).filter(|(_, rows)| modal(rows) > 1);
    good.max_by_key(|(_, rows)| {
        let (wide, filled) = (modal(rows), rows.iter().filter(|row| !row.is_blank()).count().max(1));
        // The more columns the better, and the more rows agree; a comma in every number is two columns of many.
        let agree = count(rows, wide) * 1000 / filled;
        agree * agree * (wide - 1)
    })
    .map(|(delimiter, _)| delimiter)
}

/// A cell that no heading is: it has digits and no letters.
fn is_value(text: &str) -> bool {
    text.contains(|letter: char| letter.is_ascii_digit()) && !text.contains(char::is_alphabetic)
}

/// The row that headings begin in, from 0, and how many they take: the first row that fills more than half of a row and has no value in it.
/// `None` where no row is one.
fn heading_rows(rows: &[GridRow], wide: usize) -> Option<(usize, usize)> {
    let texts = |row: &GridRow| row.cells.iter().filter(|cell| !cell.text.trim().is_empty()).count();
    let values = |row: &GridRow| row.cells.iter().any(|cell| is_value(&cell.text));
    let first = rows.iter().take(DEEPEST).position(|row| texts(row) > 1 && texts(row) * 2 > wide && !values(row))?;
    let here = rows.get(first)?;
    let gaps = texts(here) < wide;
    // Merged cells leave gaps, and what they head stands below, in a row without numbers above one with some.
    let second = gaps
        && rows.get(first + 1).is_some_and(|row| !values(row) && texts(row) > 0)
        && rows.get(first + 2).is_some_and(values);
    // Or what they head stands here, and is told apart by the cells above alone.
    let named: Vec<Vec<String>> =
        here.cells.iter().map(|cell| words::words(&cell.text)).filter(|words| !words.is_empty()).collect();
    let unclear = named.iter().enumerate().any(|(index, own)| words::is_bare(own) || named[..index].contains(own));
    // A title stands in the first cell alone.
    let groups = |row: &&GridRow| {
        let begins = row.cells.first().is_some_and(|cell| !cell.text.trim().is_empty());
        texts(row) > usize::from(begins) && !values(row)
    };
    if !second && unclear && first.checked_sub(1).and_then(|above| rows.get(above)).filter(groups).is_some() {
        return Some((first - 1, 2));
    }
    Some((first, 1 + usize::from(second)))
}

/// A table as rows of cells.
pub(super) struct File<'s> {
    pub(super) name: &'s str,
    pub(super) rows: Vec<GridRow>,
    pub(super) delimiter: char,
    pub(super) encoding: Option<Encoding>,
    /// The marks of its numbers and why, where they are known before.
    pub(super) marks: Option<NumberMarks>,
    /// Whether blank cells at the end of a row are left out.
    pub(super) open_ended: bool,
    /// The cells that are merged over several rows.
    pub(super) merged: &'s [Merged],
}

impl File<'_> {
    pub(super) fn draft(self, mut guesses: Vec<String>) -> Result<Draft, ConvertError> {
        let Self { name, rows, delimiter, encoding, marks, open_ended, merged } = self;
        let wide = modal(&rows);
        if wide < 2 {
            return Err(fail(
                name,
                1,
                "its rows have one cell each, and the table of a survey has several columns; is this a table?",
            ));
        }
        let Some((first, deep)) = heading_rows(&rows, wide) else {
            let why = "no row looks like headings: each has a number in it; put a row above that says what the columns hold, since a layout \
                       finds them by their headings";
            return Err(fail(name, 1, why));
        };
        if rows.len() <= first + deep {
            let line = rows[first].line;
            return Err(fail(name, line, "there are no rows below the headings to tell from what the columns hold"));
        }
        let mut open = Vec::new();
        let headings = grid::headings(&rows[first..first + deep]);
        let wide = headings.len();
        let above: Vec<&GridRow> = rows[..first].iter().filter(|row| !row.is_blank()).collect();
        let mut below: Vec<&GridRow> =
            rows[first + deep..].iter().filter(|row| row.flaw.is_some() || !row.is_blank()).collect();
        blocks::take_out(&mut below, &above, &rows[first..first + deep], &mut open);
        let mut body = ragged(&below, wide, open_ended, &mut open);
        if body.is_empty() {
            return Err(fail(
                name,
                rows[first].line,
                format!("no row below the headings has the {wide} cells that they have"),
            ));
        }
        if body.len() > ENOUGH {
            guesses.push(format!("all by the first {ENOUGH} of {} rows", body.len()));
            body.truncate(ENOUGH);
        }
        if first > 0 || deep > 1 {
            guesses.push(format!(
                "headings in row {}{}{}",
                first + 1,
                if deep > 1 { format!(" and {deep} rows deep") } else { String::new() },
                if above.is_empty() {
                    String::new()
                } else {
                    format!("; what stands above is passed over: {}", blocks::titles(&above))
                }
            ));
        }
        let values = body.iter().flat_map(|row| &row.cells).map(|cell| cell.text.as_str());
        let marks = marks.unwrap_or_else(|| NumberMarks::of(values.clone(), delimiter != ','));
        let NumberMarks { marks, said, unsettled } = marks;
        guesses.extend(said);
        let american = american(values);
        let cells: Vec<usize> = named_columns(&headings, &mut open);
        let mut columns: Vec<Column> = cells
            .iter()
            .map(|cell| {
                let text =
                    |row: &&GridRow| (row.cells.get(*cell).map_or(String::new(), |cell| cell.text.clone()), row.line);
                let values: Vec<(String, usize)> = body.iter().map(text).collect();
                let values = values.iter().map(|(value, line)| (value.as_str(), *line));
                Column {
                    heading: headings[*cell].clone(),
                    words: parts(&headings[*cell]),
                    look: Look::of(values, marks, american),
                    level: Level::Any,
                    several: None,
                    varies: None,
                }
            })
            .collect();
        let choices = sizes::settle(&mut columns, &cells, &body);
        let table = Table {
            columns: &columns,
            choices: &choices,
            cells: &cells,
            rows: &body,
            form: Form::Table { encoding, delimiter, first, deep },
            marks,
            unsettled,
            american,
            merged,
        };
        table.draft(guesses, open)
    }
}

/// The words of a heading; where it takes several rows, also those of the lowest alone.
fn parts(heading: &str) -> Vec<Vec<String>> {
    let lowest = heading.rsplit('\n').next().filter(|lowest| *lowest != heading);
    std::iter::once(heading).chain(lowest).map(words::words).collect()
}

/// The rows that have as many cells as there are headings; the others are told.
fn ragged<'r>(rows: &[&'r GridRow], wide: usize, open_ended: bool, open: &mut Vec<String>) -> Vec<&'r GridRow> {
    let filled = |row: &GridRow| row.cells.iter().rposition(|cell| !cell.text.trim().is_empty()).map_or(0, |at| at + 1);
    let mut wrong: Vec<(usize, String)> = Vec::new();
    let mut body = Vec::new();
    for row in rows {
        if let Some(flaw) = &row.flaw {
            let column = if row.flawed > 0 { format!("in column {}, ", row.flawed) } else { String::new() };
            wrong.push((row.line, format!("{column}{flaw}")));
        } else if !open_ended && row.cells.len() < wide || filled(row) > wide {
            let cells = if filled(row) > wide { filled(row) } else { row.cells.len() };
            wrong.push((row.line, format!("it has {cells} cells where there are {wide} headings")));
        } else {
            body.push(*row);
        }
    }
    for (line, why) in wrong.iter().take(3) {
        open.push(format!("line {line} was passed over, and cannot be read until it is corrected: {why}"));
    }
    if wrong.len() > 3 {
        open.push(format!("{} further rows are no whole rows either", wrong.len() - 3));
    }
    body
}

/// The cells that have a heading of their own; the others are told.
fn named_columns(headings: &[String], open: &mut Vec<String>) -> Vec<usize> {
    let mut found = Vec::new();
    for (cell, heading) in headings.iter().enumerate() {
        let earlier = headings[..cell].iter().position(|other| other == heading);
        match earlier {
            _ if heading.is_empty() => open.push(format!(
                "column {} has no heading, and a layout finds columns by them; give it one in the table, or take it out",
                cell + 1
            )),
            Some(earlier) => open.push(format!(
                "{heading:?} heads columns {} and {}, and nobody could tell the two apart; rename one in the table",
                earlier + 1,
                cell + 1
            )),
            None => found.push(cell),
        }
    }
    found
}
