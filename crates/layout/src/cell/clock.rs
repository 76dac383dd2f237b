//! Clock positions: one, or two.

use serde_json::{Value, json};

use super::number::{number, padded};
use super::{CellFormat, CellValue, Kind, Marks};

/// `3`, `11-1`, or `1101` without a separator.
pub(super) struct Clock;

impl Kind for Clock {
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue> {
        reference(cell, format.column.separator.as_deref(), format.marks).map(CellValue::Single)
    }

    fn write(&self, value: &Value, format: &CellFormat<'_>) -> Option<String> {
        let hour = |key: &str| {
            Some(padded(&format.marks.write(value.get(key)?.as_f64()?, None), format.column.digits))
        };
        match (hour("at"), hour("from"), hour("to"), format.column.separator.as_deref()) {
            (Some(at), None, None, _) => Some(at),
            (None, Some(from), Some(to), Some(separator)) => Some(format!("{from}{separator}{to}")),
            (None, Some(from), Some(to), None) if from.len() < 3 && to.len() < 3 => {
                Some(format!("{from:0>2}{to:0>2}"))
            }
            _ => None,
        }
    }

    fn expected(&self, format: &CellFormat<'_>) -> String {
        let separator = format.column.separator.as_deref();
        let two = separator.map_or("1101".to_owned(), |separator| format!("11{separator}1"));
        format!("a clock position such as 3, or two such as {two}")
    }
}

fn reference(cell: &str, separator: Option<&str>, marks: Marks<'_>) -> Option<Value> {
    let cell = cell.trim();
    let hour = |text: &str| marks.number(text).map(number);
    let two = match separator {
        Some(separator) => cell.split_once(separator),
        None if cell.len() == 4 && cell.bytes().all(|byte| byte.is_ascii_digit()) => {
            cell.split_at_checked(2)
        }
        None => None,
    };
    match two {
        Some((from, to)) => Some(json!({"from": hour(from)?, "to": hour(to)?})),
        None => Some(json!({"at": hour(cell)?})),
    }
}
