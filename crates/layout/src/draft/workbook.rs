//! A draft from a workbook: its sheets as rows of texts, before it is known what their columns
//! hold, and the one that a layout is for.

use obvert_convert::ConvertError;
use obvert_convert::xlsx::ZipLimits;
use obvert_convert::xlsx::sheets::{SheetCell, SheetRow, Sheets};
use obvert_model::text::Text;

use super::analysis::Merged;
use super::statistics::NumberMarks;
use super::table::Table;
use super::{Draft, refuse};
use crate::cell::Marks;
use crate::grid::GridRow;
use crate::grid::workbook::{Texts, fill_up, grid_row};

/// A sheet with its rows that have anything in them.
struct Sheet {
    name: String,
    rows: Vec<SheetRow>,
}

/// As many sheets are tried.
const TRIED: usize = 20;

/// Drafts from a workbook: from the sheet that is asked for, or the one whose columns make most
/// sense.
pub(super) fn draft(
    source: &[u8],
    name: &str,
    wanted: Option<&str>,
) -> Result<Draft, ConvertError> {
    let mut book = Sheets::open(source, name, ZipLimits::default())?;
    let all = book.names();
    let sheets = candidates(&mut book, name, wanted)?;
    let drafts = sheets.iter().take(TRIED).map(|sheet| of_sheet(name, sheet, &[])).collect();
    let (best, draft) = best(drafts);
    let Some(sheet) = sheets.get(best) else { return draft };
    // Which cells are merged is behind all rows, and is asked of the sheet alone that is taken.
    let merged = merged(&mut book, &sheet.name);
    let draft = if merged.is_empty() { draft } else { of_sheet(name, sheet, &merged) };
    let is_alone = sheets.len() == 1;
    let mut draft = draft.map_err(|error| match error {
        ConvertError::Format { place, message } if !is_alone => {
            let message =
                format!("no sheet of {} is a table; in {:?}, {message}", quoted(&all), sheet.name);
            ConvertError::Format { place, message }
        }
        other => other,
    })?;
    let others: Vec<String> = sheets
        .iter()
        .filter(|other| other.name != sheet.name)
        .map(|other| other.name.clone())
        .collect();
    let why = match wanted {
        Some(_) => ", which was asked for".to_owned(),
        None if is_alone => String::new(),
        None => {
            format!(
                ", whose columns make most sense; the other sheets with anything in them are {}",
                quoted(&others)
            )
        }
    };
    draft.guesses.insert(0, format!("the sheet {:?}{why}", sheet.name));
    // Where it is the only one, a layout reads it whatever it is called.
    if let (Some(table), Ok(name), false) =
        (&mut draft.layout.table, Text::new(&sheet.name), is_alone && wanted.is_none())
    {
        table.sheet = Some(name);
    }
    Ok(draft)
}

fn quoted(names: &[String]) -> String {
    names.iter().map(|name| format!("{name:?}")).collect::<Vec<_>>().join(", ")
}

/// The sheets that a draft can be of.
///
/// # Errors
/// When the workbook is a survey already, has no sheet of the name that is asked for, or nothing in
/// its sheets.
fn candidates(
    book: &mut Sheets<'_>,
    name: &str,
    wanted: Option<&str>,
) -> Result<Vec<Sheet>, ConvertError> {
    let names = book.names();
    let mut sheets: Vec<Sheet> = Vec::new();
    for name in &names {
        sheets.push(Sheet { name: name.clone(), rows: book.rows(name)? });
    }
    let has = |name: &str| sheets.iter().any(|sheet| sheet.name == name && !sheet.rows.is_empty());
    if has("document") && has("observations") {
        let why = "this workbook is a survey in the form of this format already; it is read without a layout";
        return Err(refuse(name, 1, why));
    }
    if let Some(wanted) = wanted {
        // Spreadsheet programs do not tell cases apart in the names of sheets.
        sheets.retain(|sheet| sheet.name.to_lowercase() == wanted.to_lowercase());
        if sheets.is_empty() {
            let why = format!("there is no sheet {wanted:?}; the sheets are {}", quoted(&names));
            return Err(refuse(name, 1, why));
        }
    }
    sheets.retain(|sheet| !sheet.rows.is_empty());
    if sheets.is_empty() {
        let what = match wanted {
            Some(sheet) => format!("the sheet {sheet:?} has nothing in it"),
            None => "no sheet has anything in it".to_owned(),
        };
        return Err(refuse(
            name,
            1,
            format!("{what}; a draft needs a table with headings and rows below them"),
        ));
    }
    Ok(sheets)
}

/// The draft whose columns make most sense, with its place; of two that are alike the first, as a
/// reader takes it.
fn best(mut drafts: Vec<Result<Draft, ConvertError>>) -> (usize, Result<Draft, ConvertError>) {
    let sense = |draft: &Result<Draft, ConvertError>| {
        draft
            .as_ref()
            .map_or(-1.0, |draft| draft.columns.iter().map(|column| column.confidence).sum::<f64>())
    };
    let mut best = 0;
    for index in 1..drafts.len() {
        if sense(&drafts[index]) > sense(&drafts[best]) {
            best = index;
        }
    }
    (best, drafts.swap_remove(best))
}

fn of_sheet(name: &str, sheet: &Sheet, merged: &[Merged]) -> Result<Draft, ConvertError> {
    // Numbers are numbers in a workbook; only texts tell which mark somebody types.
    let cells = sheet.rows.iter().flat_map(|row| &row.cells);
    let texts =
        cells.filter_map(
            |cell| if let SheetCell::Text(text) = cell { Some(text.as_str()) } else { None },
        );
    let marks = NumberMarks::of(texts, true);
    let rows = rows(sheet, marks.marks.decimal);
    // In places, the file is the sheet and the line the row.
    let name = format!("{name}, sheet {:?}", sheet.name);
    let table = Table {
        name: &name,
        rows,
        delimiter: ',',
        charset: None,
        marks: Some(marks),
        open_ended: true,
        merged,
    };
    table.draft(Vec::new())
}

/// The cells of a sheet that are merged over several rows; none where nothing tells.
fn merged(book: &mut Sheets<'_>, sheet: &str) -> Vec<Merged> {
    let all = book.merged(sheet).into_iter().filter(|one| one.rows.end() > one.rows.start());
    all.map(|one| Merged { rows: one.rows, columns: one.columns }).collect()
}

/// The rows of a sheet as texts, the blank ones as well: numbers with a decimal mark, days and
/// times as ISO 8601 has them.
fn rows(sheet: &Sheet, decimal: char) -> Vec<GridRow> {
    let mut mark = [0; 4];
    let texts = Texts::new(Marks::new(decimal.encode_utf8(&mut mark)));
    let mut all: Vec<GridRow> = Vec::new();
    for row in &sheet.rows {
        fill_up(&mut all, row.number);
        all.push(grid_row(row.number, row.cells.iter().map(|cell| texts.of_cell(cell, None))));
    }
    all
}
