//! The sheets of a workbook as rows of texts, before anybody knows what their columns hold, and the one that a layout is for.

use obvert_model::layout::Layout;
use obvert_model::text::Text;
use serde_json::json;

use super::super::book;
use super::super::grid::GridRow;
use super::gaps::Merged;
use super::marks::NumberMarks;
use super::sheet::File;
use super::{Draft, fail};
use obvert_convert::ConvertError;
use obvert_convert::xlsx::ZipLimits;
use obvert_convert::xlsx::sheets::{SheetCell, SheetRow, Sheets};

/// The rows of a sheet that have anything in them, with their numbers from 1.
type Numbered = Vec<SheetRow>;

/// As many sheets are tried.
const TRIED: usize = 20;

/// Drafts from a workbook: from the sheet that is asked for, or the one whose columns make most sense.
pub(super) fn draft(source: &[u8], name: &str, wanted: Option<&str>) -> Result<Draft, ConvertError> {
    let mut book = Sheets::open(source, name, ZipLimits::default())?;
    let mut sheets = sheets(&mut book)?;
    let all: Vec<String> = sheets.iter().map(|(sheet, _)| format!("{sheet:?}")).collect();
    let is = |sheet: &str| sheets.iter().any(|(own, rows)| own == sheet && !rows.is_empty());
    if is("document") && is("observations") {
        let why = "this workbook is a survey in the form of this format already; it is read without a layout";
        return Err(fail(name, 1, why));
    }
    if let Some(wanted) = wanted {
        // Spreadsheet programs do not tell cases apart in the names of sheets.
        sheets.retain(|(sheet, _)| sheet.to_lowercase() == wanted.to_lowercase());
        if sheets.is_empty() {
            return Err(fail(name, 1, format!("there is no sheet {wanted:?}; the sheets are {}", all.join(", "))));
        }
    }
    sheets.retain(|(_, rows)| !rows.is_empty());
    if sheets.is_empty() {
        let what = wanted
            .map_or("no sheet has anything in it".to_owned(), |sheet| format!("the sheet {sheet:?} has nothing in it"));
        return Err(fail(name, 1, format!("{what}; a draft needs a table with headings and rows below them")));
    }
    let alone = sheets.len() == 1;
    let mut drafts: Vec<(String, Result<Draft, ConvertError>)> =
        sheets.iter().take(TRIED).map(|(sheet, found)| (sheet.clone(), of_sheet(name, found, sheet, &[]))).collect();
    let sense = |draft: &Result<Draft, ConvertError>| {
        draft.as_ref().map_or(-1.0, |draft| draft.columns.iter().map(|column| column.confidence).sum::<f64>())
    };
    let mut best = 0;
    for index in 1..drafts.len() {
        // Of two that are alike the first, as a reader takes it.
        if sense(&drafts[index].1) > sense(&drafts[best].1) {
            best = index;
        }
    }
    let (sheet, draft) = drafts.swap_remove(best);
    // Which cells are merged stands behind all rows, and is asked of the sheet alone that is taken.
    let merged = merged(&mut book, &sheet);
    let draft = match sheets.iter().find(|(own, _)| *own == sheet) {
        Some((_, found)) if !merged.is_empty() => of_sheet(name, found, &sheet, &merged),
        _ => draft,
    };
    let mut draft = draft.map_err(|error| match error {
        ConvertError::Form { place, message } => ConvertError::Form {
            place,
            message: if alone {
                message
            } else {
                format!("no sheet of {} is a table; in {sheet:?}, {message}", all.join(", "))
            },
        },
        other => other,
    })?;
    let others: Vec<String> =
        sheets.iter().filter(|(other, _)| *other != sheet).map(|(other, _)| format!("{other:?}")).collect();
    let mut said = format!("the sheet {sheet:?}");
    if wanted.is_some() {
        said.push_str(", which was asked for");
    } else if !alone {
        said.push_str(&format!(
            ", whose columns make most sense; the other sheets with anything in them are {}",
            others.join(", ")
        ));
    }
    draft.guesses.insert(0, said);
    // Where it is the only one, a layout reads it whatever it is called.
    if let (Some(table), Ok(sheet), false) = (&mut draft.layout.table, Text::new(&sheet), alone && wanted.is_none()) {
        table.sheet = Some(sheet);
    }
    Ok(draft)
}

fn of_sheet(name: &str, found: &Numbered, sheet: &str, merged: &[Merged]) -> Result<Draft, ConvertError> {
    // Numbers are numbers in a workbook; only texts tell which mark somebody types.
    let texts = found.iter().flat_map(|row| &row.cells).filter_map(text_in);
    let marks = NumberMarks::of(texts, true);
    let rows = rows(found, marks.marks.decimal);
    // In places, the file is the sheet and the line the row.
    let file = format!("{name}, sheet {sheet:?}");
    File { name: &file, rows, delimiter: ',', encoding: None, marks: Some(marks), open_ended: true, merged }
        .draft(Vec::new())
}

/// The sheets with their names, in their order.
fn sheets(book: &mut Sheets<'_>) -> Result<Vec<(String, Numbered)>, ConvertError> {
    let names = book.names();
    names.into_iter().map(|sheet| book.rows(&sheet).map(|rows| (sheet, rows))).collect()
}

/// The cells of a sheet that are merged over several rows; none where nothing tells.
fn merged(book: &mut Sheets<'_>, sheet: &str) -> Vec<Merged> {
    let all = book.merged(sheet).into_iter().filter(|one| one.rows.end() > one.rows.start());
    all.map(|one| Merged { rows: one.rows, columns: one.columns }).collect()
}

/// What somebody typed as a text.
fn text_in(cell: &SheetCell) -> Option<&str> {
    if let SheetCell::Text(text) = cell { Some(text) } else { None }
}

/// The rows of a sheet as texts, the blank ones as well: numbers with a decimal mark, days and times as ISO 8601 has them.
fn rows(found: &Numbered, decimal: char) -> Vec<GridRow> {
    let marks = json!({
        "layout": "0.1", "id": "draft", "version": "0", "title": "Draft",
        "table": {"delimiter": ";", "decimal_mark": decimal.to_string()}
    });
    let Ok(layout) = serde_json::from_value::<Layout>(marks) else { return Vec::new() };
    let mut all: Vec<GridRow> = Vec::new();
    for row in found {
        while all.len() + 1 < row.number {
            all.push(GridRow { line: all.len() + 1, ..GridRow::default() });
        }
        all.push(book::grid_row(row.number, row.cells.iter().map(|cell| book::shown(cell, None, &layout))));
    }
    all
}
