//! A draft from a workbook: its sheets as rows of texts, before the kinds of their columns are
//! known, and the sheet that the layout is for.

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

/// A sheet with its rows that are not empty.
struct Sheet {
    name: String,
    rows: Vec<SheetRow>,
}

/// The number of sheets that are tried.
const TRIED: usize = 20;

/// Drafts from a workbook: from the given sheet, or from the one whose columns are recognised best.
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
    // Merged cells are stored after all rows, so they are read only for the chosen sheet.
    let merged = merged(&mut book, &sheet.name);
    let draft = if merged.is_empty() { draft } else { of_sheet(name, sheet, &merged) };
    let is_alone = sheets.len() == 1;
    let mut draft = draft.map_err(|error| match error {
        ConvertError::Format { place, message } if !is_alone => {
            let message = format!(
                "none of the sheets {} is a table; in {:?}, {message}",
                quoted(&all),
                sheet.name
            );
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
        Some(_) => ", as requested".to_owned(),
        None if is_alone => String::new(),
        None => {
            format!(
                ", whose columns are recognised best; the other sheets with content are {}",
                quoted(&others)
            )
        }
    };
    draft.guesses.insert(0, format!("the sheet {:?}{why}", sheet.name));
    // If it is the only one, a layout reads it whatever its name.
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

/// The sheets that a draft can be based on.
///
/// # Errors
/// When the workbook is a survey in the format, has no sheet with the given name, or all its sheets
/// are empty.
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
        let why = "this workbook is already a survey in the format; read it without a layout";
        return Err(refuse(name, 1, why));
    }
    if let Some(wanted) = wanted {
        // Spreadsheet programs do not distinguish upper and lower case in names of sheets.
        sheets.retain(|sheet| sheet.name.to_lowercase() == wanted.to_lowercase());
        if sheets.is_empty() {
            let why = format!("there is no sheet {wanted:?}; choose one of {}", quoted(&names));
            return Err(refuse(name, 1, why));
        }
    }
    sheets.retain(|sheet| !sheet.rows.is_empty());
    if sheets.is_empty() {
        let what = match wanted {
            Some(sheet) => format!("the sheet {sheet:?} is empty"),
            None => "all sheets are empty".to_owned(),
        };
        return Err(refuse(
            name,
            1,
            format!("{what}; use a table with headings and rows below them"),
        ));
    }
    Ok(sheets)
}

/// The draft whose columns are recognised best, with its index; of equal ones the first, as a
/// reader does.
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
    // Numbers are numbers in a workbook; only texts show which separator people type.
    let cells = sheet.rows.iter().flat_map(|row| &row.cells);
    let texts =
        cells.filter_map(
            |cell| if let SheetCell::Text(text) = cell { Some(text.as_str()) } else { None },
        );
    let marks = NumberMarks::of(texts, true);
    let rows = rows(sheet, marks.marks.decimal);
    // In locations, the file is the sheet and the line is the row.
    let name = format!("{name}, sheet {:?}", sheet.name);
    let table = Table {
        name: &name,
        rows,
        delimiter: ',',
        line_end: None,
        charset: None,
        marks: Some(marks),
        open_ended: true,
        merged,
    };
    table.draft(Vec::new())
}

/// The cells of a sheet that are merged over several rows; empty if they are not known.
fn merged(book: &mut Sheets<'_>, sheet: &str) -> Vec<Merged> {
    let all = book.merged(sheet).into_iter().filter(|one| one.rows.end() > one.rows.start());
    all.map(|one| Merged { rows: one.rows, columns: one.columns }).collect()
}

/// The rows of a sheet as texts, including blank ones: numbers with a decimal separator, dates and
/// times in ISO 8601.
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
