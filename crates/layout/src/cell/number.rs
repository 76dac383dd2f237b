//! Numbers with the decimal and thousands separators of a table, and code that all numeric kinds
//! share.

use obvert_model::layout::Layout;

use super::{CellFormat, CellValue, Kind};

/// The separators of numbers in a table.
#[derive(Clone, Copy)]
pub(crate) struct Marks<'l> {
    pub(super) decimal: &'l str,
    thousands: Option<&'l str>,
}

impl<'l> Marks<'l> {
    pub(crate) fn of(layout: &'l Layout) -> Self {
        let (decimal, thousands) = layout.marks();
        Self { decimal, thousands }
    }

    #[cfg(feature = "xlsx")]
    pub(crate) const fn new(decimal: &'l str) -> Self {
        Self { decimal, thousands: None }
    }

    /// The number in a cell, with these separators.
    pub(crate) fn number(self, cell: &str) -> Option<f64> {
        let mut plain = cell.trim().to_owned();
        if let Some(mark) = self.thousands {
            plain = self.without_thousands(&plain, mark)?;
        }
        if self.decimal != "." {
            if plain.contains('.') {
                return None;
            }
            plain = plain.replacen(self.decimal, ".", 1);
        }
        let digits = plain.bytes().any(|byte| byte.is_ascii_digit());
        let only = plain.bytes().all(|byte| byte.is_ascii_digit() || b".+-eE".contains(&byte));
        plain.parse::<f64>().ok().filter(|number| digits && only && number.is_finite())
    }

    /// A number without its thousands separators, each of which must be followed by three digits.
    fn without_thousands(self, plain: &str, mark: &str) -> Option<String> {
        let (whole, fraction) = plain.split_once(self.decimal).unwrap_or((plain, ""));
        let mut groups = whole.split(mark);
        let first = groups.next().unwrap_or_default().trim_start_matches(['-', '+']);
        let is_grouped = whole.contains(mark);
        let wrong = fraction.contains(mark)
            || groups.any(|group| group.len() != 3)
            || is_grouped && !(1..=3).contains(&first.len());
        (!wrong).then(|| plain.replace(mark, ""))
    }

    /// A number with these separators, with the given decimals or with its own.
    pub(crate) fn write(self, number: f64, decimals: Option<u32>) -> String {
        let text = match decimals {
            Some(decimals) => format!("{number:.*}", decimals as usize),
            None => format!("{number}"),
        };
        if self.decimal == "." { text } else { text.replacen('.', self.decimal, 1) }
    }
}

/// The decimal fraction nearest to a sum of hundredths or twelfths, without binary rounding noise.
pub(super) fn tidy(value: f64) -> f64 {
    format!("{value:.9}").parse().unwrap_or(value)
}

/// A number with a number of decimals.
pub(super) fn rounded(value: f64, decimals: u32) -> f64 {
    format!("{value:.*}", decimals as usize).parse().unwrap_or(value)
}

/// A number with leading zeros, up to a number of digits before its decimal separator.
pub(super) fn padded(text: &str, digits: Option<u32>) -> String {
    let (sign, rest) = text.strip_prefix('-').map_or(("", text), |rest| ("-", rest));
    let own = rest.bytes().take_while(u8::is_ascii_digit).count();
    format!(
        "{sign}{}{rest}",
        "0".repeat((digits.unwrap_or(0).min(20) as usize).saturating_sub(own))
    )
}

/// `12.5`.
pub(super) struct Plain;

impl Kind for Plain {
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue> {
        format.marks.number(cell).map(CellValue::Number)
    }

    fn write(&self, value: &CellValue, format: &CellFormat<'_>) -> Option<String> {
        let text = format.marks.write(value.number()?, format.column.decimals);
        Some(padded(&text, format.column.digits))
    }

    fn expected(&self, format: &CellFormat<'_>) -> String {
        format!("a number such as 12{}5", format.marks.decimal)
    }
}
