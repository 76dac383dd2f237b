//! Numbers followed by their unit.

use super::{CellFormat, CellValue, Kind};

/// `4 in`, `5%`.
pub(super) struct Amount;

impl Kind for Amount {
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue> {
        // The longest word first, so that "mm" is not read as "m".
        let mut words: Vec<_> = format.units.iter().collect();
        words.sort_by_key(|word| std::cmp::Reverse(word.text.trim().len()));
        words.into_iter().find_map(|word| {
            let value = format.marks.number(cell.trim().strip_suffix(word.text.trim())?)?;
            Some(CellValue::Amount(value, word.unit))
        })
    }

    fn write(&self, value: &CellValue, format: &CellFormat<'_>) -> Option<String> {
        let CellValue::Amount(value, unit) = value else { return None };
        let word = format.units.iter().find(|word| word.unit == *unit)?;
        let number = format.marks.write(*value, format.column.decimals);
        Some(format!("{number}{}", word.text))
    }

    fn expected(&self, format: &CellFormat<'_>) -> String {
        let words: Vec<&str> = format.units.iter().map(|word| word.text.trim()).collect();
        format!("a number with its unit, one of {}", words.join(", "))
    }
}
