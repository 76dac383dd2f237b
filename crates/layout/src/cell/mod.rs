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
use serde_json::{Value, json};

pub(crate) use moment::in_zone;
pub(crate) use number::Marks;

/// The value of a cell.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum CellValue {
    /// A text, or when writing a timestamp in RFC 3339.
    Text(String),
    /// A number.
    Number(f64),
    /// A boolean.
    Bool(bool),
    /// A clock position.
    Hour(f64),
    /// Two clock positions.
    Hours(f64, f64),
    /// The date and the time of day of a timestamp. Two columns can hold one each.
    Moment(Option<Date>, Option<Time>),
    /// An amount and its unit.
    Amount(f64, QuantityUnit),
}

impl CellValue {
    /// The value of a field of the document; `None` if no cell can hold it.
    fn of(value: &Value) -> Option<Self> {
        let number = |key: &str| value.get(key).and_then(Value::as_f64);
        Some(match value {
            Value::String(text) => Self::Text(text.clone()),
            Value::Number(number) => Self::Number(number.as_f64()?),
            Value::Bool(value) => Self::Bool(*value),
            Value::Object(_) => match (number("at"), number("from").zip(number("to"))) {
                (Some(at), None) => Self::Hour(at),
                (None, Some((from, to))) => Self::Hours(from, to),
                _ => {
                    let unit = value.get("unit")?.as_str()?.parse().ok()?;
                    Self::Amount(number("value")?, unit)
                }
            },
            Value::Null | Value::Array(_) => return None,
        })
    }

    /// The value of a field of the document. The parts of a timestamp and an amount without its
    /// unit are combined with other cells first.
    pub(crate) fn into_json(self) -> Value {
        match self {
            Self::Text(text) => Value::String(text),
            Self::Number(value) | Self::Amount(value, _) => number(value),
            Self::Bool(value) => Value::Bool(value),
            Self::Hour(at) => json!({"at": number(at)}),
            Self::Hours(from, to) => json!({"from": number(from), "to": number(to)}),
            Self::Moment(..) => Value::Null,
        }
    }

    fn number(&self) -> Option<f64> {
        match self {
            Self::Number(value) => Some(*value),
            _ => None,
        }
    }

    fn text(&self) -> Option<&str> {
        match self {
            Self::Text(text) => Some(text),
            _ => None,
        }
    }
}

/// The cells of one kind.
trait Kind: Sync {
    /// The value of a cell that is not blank; `None` if it is not of this kind.
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue>;

    /// The cell of a value; `None` if this kind cannot hold it.
    fn write(&self, value: &CellValue, format: &CellFormat<'_>) -> Option<String>;

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

    /// The unit of a word: a word for a unit in the layout, or the unit's own name.
    pub(crate) fn unit(&self, word: &str) -> Option<QuantityUnit> {
        let of_layout = self.units.iter().find(|own| own.text.trim() == word);
        of_layout.map(|own| own.unit).or_else(|| word.parse().ok())
    }

    /// The words for units that a cell can have.
    pub(crate) fn unit_words(&self) -> Vec<String> {
        if !self.column.translate.is_empty() {
            return self.column.translate.iter().map(|word| word.text.to_string()).collect();
        }
        let of_layout = self.units.iter().map(|word| word.text.trim().to_owned());
        let all = QuantityUnit::ALL.iter().map(|unit| unit.as_str().to_owned());
        let mut words: Vec<String> = Vec::new();
        for word in of_layout.chain(all) {
            if !words.contains(&word) {
                words.push(word);
            }
        }
        words
    }

    /// The cell of a unit; `None` if the column translates words and has none for it.
    pub(crate) fn write_unit(&self, unit: QuantityUnit) -> Option<String> {
        let value = CellValue::Text(unit.as_str().to_owned());
        if !self.column.translate.is_empty() {
            return self.write_value(&value);
        }
        let of_layout = self.units.iter().find(|own| own.unit == unit);
        Some(of_layout.map_or_else(|| unit.as_str().to_owned(), |own| own.text.trim().to_owned()))
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
            return Ok(translated(&translation.value));
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
            return Ok(CellValue::Amount(percent, QuantityUnit::Percent));
        }
        self.read(shown).map_err(|wanted| {
            let unit = self.column.unit.map(|unit| format!(" in {unit}")).unwrap_or_default();
            let format = if is_number { "a number" } else { "text" };
            format!(
                "{wanted}{unit}; the cell is formatted as a percentage: format it as {format} and type it again"
            )
        })
    }

    /// The cell of a value of the document; `None` if the column cannot hold it.
    pub(crate) fn write(&self, value: &Value) -> Option<String> {
        self.write_value(&CellValue::of(value)?)
    }

    /// The cell of a value; `None` if the column cannot hold it.
    pub(crate) fn write_value(&self, value: &CellValue) -> Option<String> {
        match self.column.translate.iter().find(|word| translated(&word.value) == *value) {
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

/// The value that a column translates a word to.
fn translated(value: &Scalar) -> CellValue {
    match value {
        Scalar::Text(text) => CellValue::Text(text.to_string()),
        Scalar::Number(value) => CellValue::Number(value.get()),
        Scalar::Bool(value) => CellValue::Bool(*value),
    }
}

/// A single value as JSON.
pub(crate) fn scalar(value: &Scalar) -> Value {
    translated(value).into_json()
}

/// A number in JSON, without a fraction if it is whole.
#[allow(clippy::cast_possible_truncation)]
pub(crate) fn number(value: f64) -> Value {
    if value.fract() == 0.0 && value.abs() < 9_007_199_254_740_992.0 {
        json!(value as i64)
    } else {
        json!(value)
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
