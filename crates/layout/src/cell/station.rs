//! Distances as stations: the hundreds, a plus sign, and the rest.

use super::number::{rounded, tidy};
use super::{CellFormat, CellValue, Kind, Marks};

/// `1+64.50` for 164.5.
pub(super) struct Station;

impl Kind for Station {
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue> {
        distance(cell, format.marks).map(CellValue::Number)
    }

    fn write(&self, value: &CellValue, format: &CellFormat<'_>) -> Option<String> {
        let number = value.number()?;
        let decimals = format.column.decimals.unwrap_or(2);
        // Rounded first, so that 99.999 with two decimals is 1+00.00, not 0+100.00.
        let all = rounded(number.abs(), decimals);
        let hundreds = (all / 100.0).floor();
        let width = if decimals == 0 { 2 } else { decimals as usize + 3 };
        let rest =
            format!("{:0>width$}", format.marks.write(all - hundreds * 100.0, Some(decimals)));
        // A spreadsheet would read a sign before it as a formula.
        let sign = match (number < 0.0, format.is_xml) {
            (false, _) => "",
            (true, true) => "-",
            (true, false) => "'-",
        };
        Some(format!("{sign}{hundreds}+{rest}"))
    }

    fn expected(&self, format: &CellFormat<'_>) -> String {
        format!("a station such as 1+64{}50", format.marks.decimal)
    }
}

fn distance(cell: &str, marks: Marks<'_>) -> Option<f64> {
    let (hundreds, rest) = cell.trim().split_once('+')?;
    let whole = hundreds.trim_start_matches('-');
    if whole.is_empty() || !whole.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let rest =
        marks.number(rest).filter(|rest| (0.0..100.0).contains(rest) && !cell.contains("+-"))?;
    let value = tidy(whole.parse::<f64>().ok()? * 100.0 + rest);
    Some(if hundreds.starts_with('-') { -value } else { value })
}
