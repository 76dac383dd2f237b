//! The values of cells, both ways: each kind of cell is a file here, with a type that reads, writes
//! and describes its cells.

mod amount;
mod clock;
mod duration;
mod feet_and_inches;
mod moment;
mod number;
pub(crate) mod pattern;
mod station;
#[cfg(test)]
mod tests;
mod text;

use jiff::civil::{Date, Time};
use obvert_model::layout::{CellKind, Column, Layout, Target, UnitWord};
use obvert_model::profile::Scalar;
use obvert_model::tables::QuantityUnit;
use serde_json::Value;

pub(crate) use moment::in_zone;
pub(crate) use number::{Marks, number};

/// The value of a cell.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum CellValue {
    /// A value of its field.
    Single(Value),
    /// The date and the time of day of a timestamp. Two columns can hold one each.
    Moment(Option<Date>, Option<Time>),
    /// An amount and its unit.
    Amount(Value, QuantityUnit),
}

/// The cells of one kind.
trait Kind: Sync {
    /// The value of a cell that is not blank; `None` if it is not of this kind.
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue>;

    /// The cell of a value; `None` if this kind cannot hold it.
    fn write(&self, value: &Value, format: &CellFormat<'_>) -> Option<String>;

    /// The expected content of such a cell, for a message.
    fn expected(&self, format: &CellFormat<'_>) -> String;

    /// Why a cell that looks like this kind is invalid.
    fn impossible(&self, _cell: &str, _format: &CellFormat<'_>) -> Option<String> {
        None
    }
}

/// The type for each kind of cell.
fn kind(kind: CellKind) -> &'static dyn Kind {
    match kind {
        CellKind::Text => &text::Plain,
        CellKind::YesNo => &text::YesNo,
        CellKind::Number => &number::Plain,
        CellKind::Station => &station::Station,
        CellKind::FeetAndInches => &feet_and_inches::FeetAndInches,
        CellKind::Amount => &amount::Amount,
        CellKind::Date => &moment::DateOnly,
        CellKind::Time => &moment::TimeOnly,
        CellKind::DateTime => &moment::DateAndTime,
        CellKind::Duration => &duration::Duration,
        CellKind::Clock => &clock::Clock,
    }
}

/// How the cells of a column are read and written.
#[derive(Clone, Copy)]
pub(crate) struct CellFormat<'l> {
    column: &'l Column,
    kind: &'static dyn Kind,
    marks: Marks<'l>,
    units: &'l [UnitWord],
    /// Whether the file is XML, which spreadsheets do not open.
    is_xml: bool,
}

impl<'l> CellFormat<'l> {
    pub(crate) fn of(column: &'l Column, layout: &'l Layout) -> Self {
        Self {
            column,
            kind: kind(column.kind.unwrap_or(CellKind::Text)),
            marks: Marks::of(layout),
            units: &layout.units,
            is_xml: layout.xml.is_some(),
        }
    }

    fn is_text(&self) -> bool {
        self.column.kind.unwrap_or(CellKind::Text) == CellKind::Text
    }

    fn pattern(&self) -> &'l str {
        self.column.pattern.as_deref().unwrap_or_default()
    }

    /// The value of a cell that is not blank.
    ///
    /// # Errors
    /// The expected content.
    pub(crate) fn read(&self, cell: &str) -> Result<CellValue, String> {
        if let Some(translation) =
            self.column.translate.iter().find(|word| *word.text == *cell.trim())
        {
            return Ok(CellValue::Single(scalar(&translation.value)));
        }
        let cell =
            if self.is_text() && !cell.trim_start().starts_with("=\"") { cell } else { bare(cell) };
        self.kind.read(cell, self).ok_or_else(|| match self.kind.impossible(cell, self) {
            Some(why) => format!("{}; {why}", self.expected()),
            None => self.expected(),
        })
    }

    /// The value of a cell that a sheet shows as a percentage.
    ///
    /// # Errors
    /// The expected content.
    pub(crate) fn read_percentage(&self, shown: &str, percent: f64) -> Result<CellValue, String> {
        let is_number = self.column.kind == Some(CellKind::Number);
        let in_percent = self.column.unit.is_none_or(|unit| unit == QuantityUnit::Percent);
        if is_number && in_percent && self.column.target() == Some(Target::AMOUNT) {
            return Ok(CellValue::Amount(number(percent), QuantityUnit::Percent));
        }
        self.read(shown).map_err(|wanted| {
            let unit = self.column.unit.map(|unit| format!(" in {unit}")).unwrap_or_default();
            let format = if is_number { "a number" } else { "text" };
            format!(
                "{wanted}{unit}; the cell is formatted as a percentage: format it as {format} and type it again"
            )
        })
    }

    /// The cell of a value; `None` if the column cannot hold it. An amount is an object with value
    /// and unit, a timestamp is in RFC 3339.
    pub(crate) fn write(&self, value: &Value) -> Option<String> {
        match self.column.translate.iter().find(|word| scalar(&word.value) == *value) {
            Some(translation) => Some(translation.text.to_string()),
            None => self.kind.write(value, self),
        }
    }

    /// The expected content of a cell.
    fn expected(&self) -> String {
        if self.column.translate.is_empty() {
            return self.kind.expected(self);
        }
        let words: Vec<&str> =
            self.column.translate.iter().map(|word| word.text.as_str()).collect();
        format!("one of {}", words.join(", "))
    }
}

/// A single value as JSON.
pub(crate) fn scalar(value: &Scalar) -> Value {
    match value {
        Scalar::Text(text) => Value::String(text.to_string()),
        Scalar::Number(value) => number(value.get()),
        Scalar::Bool(value) => Value::Bool(*value),
    }
}

/// A cell without the characters that keep a spreadsheet from interpreting it: `="007"`, or an
/// apostrophe before a number.
fn bare(cell: &str) -> &str {
    let cell = cell.trim();
    match cell.strip_prefix("=\"").and_then(|rest| rest.strip_suffix('"')) {
        Some(inner) if !inner.contains('"') => inner.trim(),
        _ => cell.strip_prefix('\'').filter(|rest| !rest.is_empty()).unwrap_or(cell),
    }
}
