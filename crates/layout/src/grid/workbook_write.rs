//! Writing rows as a workbook with one sheet.

use obvert_convert::ConvertError;
use obvert_model::layout::{CellKind, Column, Layout};
use rust_xlsxwriter::{Format, Workbook, Worksheet, XlsxError};

use crate::cell::Marks;

/// Writes rows as a workbook with one sheet, numbers as numbers and everything else as text.
pub(crate) fn write(rows: &[Vec<String>], layout: &Layout) -> Result<Vec<u8>, ConvertError> {
    let mut book = Workbook::new();
    let written = fill(book.add_worksheet(), rows, layout);
    let bytes = written.and_then(|()| book.save_to_buffer());
    bytes.map_err(|error| ConvertError::Refused {
        message: format!("the workbook cannot be written: {error}"),
    })
}

fn fill(sheet: &mut Worksheet, rows: &[Vec<String>], layout: &Layout) -> Result<(), XlsxError> {
    if let Some(name) = layout.table.as_ref().and_then(|table| table.sheet.as_deref()) {
        sheet.set_name(name)?;
    }
    let before =
        layout.table.as_ref().map_or(0, |table| table.heading_row.unwrap_or(1).saturating_sub(1));
    let deep = layout.table.as_ref().map_or(1, |table| table.heading_rows.unwrap_or(1).max(1));
    sheet.set_freeze_panes(before + deep, 0)?;
    let (bold, text) =
        (Format::new().set_bold().set_num_format("@"), Format::new().set_num_format("@"));
    let file_columns = layout.file_columns();
    let columns: Vec<(&str, &Column)> = file_columns
        .iter()
        .filter_map(|own| Some((own.heading, layout.columns.get(own.index)?)))
        .collect();
    for (number, (heading, column)) in (0_u16..).zip(&columns) {
        for (line, part) in (before..before + deep).zip(heading.split('\n')) {
            if !part.is_empty() {
                sheet.write_string_with_format(line, number, part, &bold)?;
            }
        }
        if column.kind != Some(CellKind::Number) {
            sheet.set_column_format(number, &text)?;
        }
        let cells = rows.iter().filter_map(|row| row.get(usize::from(number)));
        sheet.set_column_width(number, width(heading, cells))?;
    }
    let marks = Marks::of(layout);
    for (line, row) in (before + deep..).zip(rows) {
        for ((number, cell), (_, column)) in (0_u16..).zip(row).zip(&columns) {
            if cell.is_empty() {
                continue;
            }
            match marks.number(cell).filter(|_| is_plain(column)) {
                Some(value) => sheet.write_number(line, number, value)?,
                None => sheet.write_string(line, number, cell)?,
            };
        }
    }
    Ok(())
}

/// Whether the cells of a column can be plain numbers.
fn is_plain(column: &Column) -> bool {
    column.kind == Some(CellKind::Number) && column.translate.is_empty() && column.digits.is_none()
}

/// The width of the widest cell, within limits.
fn width<'r>(heading: &str, cells: impl Iterator<Item = &'r String>) -> u32 {
    let widest =
        cells.map(|cell| cell.chars().count()).max().unwrap_or(0).max(heading.chars().count());
    u32::try_from(widest + 2).unwrap_or(u32::MAX).clamp(8, 44)
}
