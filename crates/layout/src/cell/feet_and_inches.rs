//! Lengths in feet and inches.

use super::number::{rounded, tidy};
use super::{CellFormat, CellValue, Kind, Marks};

/// `12'6"` for 12.5 feet.
pub(super) struct FeetAndInches;

impl Kind for FeetAndInches {
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue> {
        feet(cell, format.marks).map(CellValue::Number)
    }

    fn write(&self, value: &CellValue, format: &CellFormat<'_>) -> Option<String> {
        let number = value.number()?;
        let all = rounded(number.abs() * 12.0, format.column.decimals.unwrap_or(2));
        let feet = (all / 12.0).floor();
        let inches = tidy(all - feet * 12.0);
        Some(format!(
            "{}{feet}'{}\"",
            if number < 0.0 { "-" } else { "" },
            format.marks.write(inches, None)
        ))
    }

    fn expected(&self, _: &CellFormat<'_>) -> String {
        "feet and inches such as 12'6\"".to_owned()
    }
}

fn feet(cell: &str, marks: Marks<'_>) -> Option<f64> {
    let cell = cell.trim();
    let (feet, inches) =
        cell.split_once('\'').unwrap_or(if cell.ends_with('"') { ("0", cell) } else { (cell, "") });
    let inches = inches.trim().trim_start_matches('-').trim();
    let inches = match inches.strip_suffix('"') {
        Some(inches) => marks.number(inches)?,
        None if inches.is_empty() && cell.ends_with('\'') => 0.0,
        None => return None,
    };
    let whole = marks.number(feet)?;
    let value = whole.abs() + inches / 12.0;
    (0.0..12.0)
        .contains(&inches)
        .then(|| if feet.trim().starts_with('-') { -tidy(value) } else { tidy(value) })
}
