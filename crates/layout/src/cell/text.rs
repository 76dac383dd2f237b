//! Texts, and words for yes and no.

use super::{CellFormat, CellValue, Kind};

/// Any text.
pub(super) struct Plain;

impl Kind for Plain {
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue> {
        // In a column with words, other texts are invalid.
        format.column.translate.is_empty().then(|| {
            // Spreadsheets do not open XML as a table, so its text needs no apostrophe.
            let text = if format.is_xml { cell } else { obvert_convert::csv::plain(cell) };
            CellValue::Text(text.to_owned())
        })
    }

    fn write(&self, value: &CellValue, format: &CellFormat<'_>) -> Option<String> {
        let text = value.text().filter(|_| format.column.translate.is_empty())?.to_owned();
        Some(if format.is_xml { text } else { obvert_convert::csv::harmless(text) })
    }

    fn expected(&self, _: &CellFormat<'_>) -> String {
        "a text".to_owned()
    }
}

/// Words for yes and no, all of which the column translates.
pub(super) struct YesNo;

impl Kind for YesNo {
    fn read(&self, _: &str, _: &CellFormat<'_>) -> Option<CellValue> {
        None
    }

    fn write(&self, _: &CellValue, _: &CellFormat<'_>) -> Option<String> {
        None
    }

    fn expected(&self, _: &CellFormat<'_>) -> String {
        "a word for yes or no".to_owned()
    }
}
