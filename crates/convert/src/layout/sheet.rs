//! The table as rows of cells with their lines, and back.

use obvert_model::layout::{Encoding, Layout, LineEnd};

use super::bytes;
use crate::{ConvertError, Place};

/// A table as it was read.
pub(super) struct Sheet {
    pub(super) headings: Vec<String>,
    /// The line, from 1, on which each row begins, and its cells.
    pub(super) rows: Vec<(usize, Vec<String>)>,
    /// The encoding that a byte-order mark says against the layout.
    pub(super) marked: Option<Encoding>,
}

fn form(file: &str, line: usize, message: String) -> ConvertError {
    let place = Place { file: file.to_owned(), line, column: None, heading: None };
    ConvertError::Form { place: Some(place), message }
}

fn delimiter(layout: &Layout) -> u8 {
    layout.table.delimiter.bytes().next().unwrap_or(b',')
}

/// Splits a table.
pub(super) fn read(source: &[u8], file: &str, layout: &Layout) -> Result<Sheet, ConvertError> {
    let (text, marked) = bytes::decode(source, layout.table.encoding).map_err(|(line, why)| form(file, line, why))?;
    // One kind of line end, so that lines can be counted.
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter(layout))
        .from_reader(text.as_bytes());
    let mut rows: Vec<(usize, Vec<String>)> = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| form(file, 1, format!("not CSV: {error}")))?;
        let (line, start) = record.position().map_or((1, 0), |at| (at.line(), at.byte()));
        let start = usize::try_from(start).unwrap_or(usize::MAX).min(text.len());
        let blank = text.as_bytes()[start..].iter().take_while(|byte| **byte == b'\n').count();
        let line = usize::try_from(line).unwrap_or(usize::MAX) + blank;
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        rows.push((line, record.iter().map(str::to_owned).collect()));
    }
    let before = layout.table.heading_row.unwrap_or(1).saturating_sub(1) as usize;
    if rows.len() <= before {
        return Err(form(file, 1, "there is no row of headings; is this the right file?".to_owned()));
    }
    let mut rows = rows.split_off(before);
    let (line, headings) = rows.remove(0);
    let headings: Vec<String> = headings.iter().map(|heading| heading.trim().to_owned()).collect();
    if headings.len() == 1 && layout.columns.len() > 1 {
        let message = format!(
            "the headings are not separated by {:?}, as the layout {} says; is this the right file?",
            &*layout.table.delimiter, layout.id
        );
        return Err(form(file, line, message));
    }
    Ok(Sheet { headings, rows, marked })
}

/// Writes a table.
pub(super) fn write(rows: &[Vec<String>], layout: &Layout) -> Result<Vec<u8>, ConvertError> {
    let end = match layout.table.line_end {
        Some(LineEnd::Lf) => csv::Terminator::Any(b'\n'),
        _ => csv::Terminator::CRLF,
    };
    let mut writer = csv::WriterBuilder::new().delimiter(delimiter(layout)).terminator(end).from_writer(Vec::new());
    let fail = |error: csv::Error| std::io::Error::other(error);
    // What stands above the headings is the office's own and not known here; the rows keep their places.
    for _ in 1..layout.table.heading_row.unwrap_or(1) {
        writer.write_record(layout.columns.iter().map(|_| "-")).map_err(fail)?;
    }
    for row in rows {
        writer.write_record(row).map_err(fail)?;
    }
    let written = writer.into_inner().map_err(|error| std::io::Error::other(error.to_string()))?;
    let text = String::from_utf8_lossy(&written);
    Ok(bytes::encode(&text, layout.table.encoding).0)
}
