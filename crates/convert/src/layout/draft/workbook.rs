//! The sheets of a workbook as rows of texts, before anybody knows what their columns hold.

use calamine::Reader;
use obvert_model::layout::Layout;
use serde_json::json;

use super::super::book;
use super::super::grid::GridRow;
use crate::ConvertError;
use crate::xlsx::ZipLimits;
use crate::xlsx::read::open;
use crate::xlsx::rows::{Found, SheetRow, cells_of};

/// The rows of a sheet that have anything in them, with their numbers from 1.
pub(super) type Numbered = Vec<(usize, SheetRow)>;

/// The sheets with their names, in their order.
pub(super) fn sheets(source: &[u8], name: &str) -> Result<Vec<(String, Numbered)>, ConvertError> {
    let mut book = open(source, name, ZipLimits::default())?;
    let names = book.sheet_names();
    names.into_iter().map(|sheet| cells_of(&mut book, &sheet).map(|rows| (sheet, rows))).collect()
}

/// What somebody typed as a text.
pub(super) fn text_in(cell: &Found) -> Option<&str> {
    if let Found::Text(text) = cell { Some(text) } else { None }
}

/// The rows of a sheet as texts, the blank ones as well: numbers with a decimal mark, days and times as ISO 8601 has them.
pub(super) fn rows(found: &Numbered, decimal: char) -> Vec<GridRow> {
    let marks = json!({
        "layout": "0.1", "id": "draft", "version": "0", "title": "Draft",
        "table": {"delimiter": ";", "decimal_mark": decimal.to_string()}
    });
    let Ok(layout) = serde_json::from_value::<Layout>(marks) else { return Vec::new() };
    let mut all: Vec<GridRow> = Vec::new();
    for (number, row) in found {
        while all.len() + 1 < *number {
            all.push(GridRow { line: all.len() + 1, ..GridRow::default() });
        }
        all.push(book::grid_row(*number, row.cells.iter().map(|cell| book::shown(cell, None, &layout))));
    }
    all
}
