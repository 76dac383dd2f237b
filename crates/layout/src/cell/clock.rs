//! Clock positions: one, or two.

use super::number::padded;
use super::{CellFormat, CellValue, Kind, Marks};

/// `3`, `11-1`, or `1101` without a separator.
pub(super) struct Clock;

impl Kind for Clock {
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue> {
        reference(cell, format.column.separator.as_deref(), format.marks)
    }

    fn write(&self, value: &CellValue, format: &CellFormat<'_>) -> Option<String> {
        let hour = |hour: f64| padded(&format.marks.write(hour, None), format.column.digits);
        let (from, to) = match value {
            CellValue::Hour(at) => return Some(hour(*at)),
            CellValue::Hours(from, to) => (hour(*from), hour(*to)),
            _ => return None,
        };
        match format.column.separator.as_deref() {
            Some(separator) => Some(format!("{from}{separator}{to}")),
            None if from.len() < 3 && to.len() < 3 => Some(format!("{from:0>2}{to:0>2}")),
            None => None,
        }
    }

    fn expected(&self, format: &CellFormat<'_>) -> String {
        let separator = format.column.separator.as_deref();
        let two = separator.map_or("1101".to_owned(), |separator| format!("11{separator}1"));
        format!("a clock position such as 3, or two such as {two}")
    }
}

fn reference(cell: &str, separator: Option<&str>, marks: Marks<'_>) -> Option<CellValue> {
    let cell = cell.trim();
    let hour = |text: &str| marks.number(text);
    let two = match separator {
        Some(separator) => cell.split_once(separator),
        None if cell.len() == 4 && cell.bytes().all(|byte| byte.is_ascii_digit()) => {
            cell.split_at_checked(2)
        }
        None => None,
    };
    match two {
        Some((from, to)) => Some(CellValue::Hours(hour(from)?, hour(to)?)),
        None => Some(CellValue::Hour(hour(cell)?)),
    }
}
