//! How a value is written in a cell and read back exactly, in any kind of file. Files without types
//! (CSV) give every cell as text; workbooks and databases have numbers and booleans, and people
//! type one where the other belongs.

use std::borrow::Cow;

use serde_json::{Number, Value};

use super::plan::Kind;

const SEPARATOR: char = ';';
const ESCAPE: char = '\\';

/// A cell as it was read.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Cell<'c> {
    /// An empty cell.
    Empty,
    /// Text, never empty.
    Text(Cow<'c, str>),
    /// A number.
    Number(Number),
    /// A boolean.
    Bool(bool),
}

impl<'c> Cell<'c> {
    /// The cell of a text; empty if the text is.
    pub(crate) fn of_text(text: impl Into<Cow<'c, str>>) -> Self {
        let text = text.into();
        if text.is_empty() { Self::Empty } else { Self::Text(text) }
    }

    /// The content of the cell as text.
    pub(crate) fn text(&self) -> Cow<'c, str> {
        match self {
            Self::Empty => Cow::Borrowed(""),
            Self::Text(text) => text.clone(),
            Self::Number(number) => Cow::Owned(number.to_string()),
            Self::Bool(truth) => Cow::Borrowed(if *truth { "true" } else { "false" }),
        }
    }
}

/// The number of a double: a whole number if it is one, so that an id that a program turned into a
/// number reads as its digits. `None` if it is not a number.
pub(crate) fn number_of(double: f64) -> Option<Number> {
    const EXACT: f64 = 9_007_199_254_740_992.0;
    if double.fract() == 0.0 && double.abs() < EXACT {
        #[expect(
            clippy::cast_possible_truncation,
            reason = "within the whole numbers that a double holds exactly"
        )]
        return Some(Number::from(double as i64));
    }
    Number::from_f64(double)
}

/// What is wrong with a cell.
#[derive(Debug, PartialEq)]
pub(crate) enum CellError {
    /// The value is not of the kind of the column.
    Kind(String),
    /// The value is not JSON, or cannot be an extension.
    Json(String),
}

/// A value as text: the content of a cell in a file without types.
pub(crate) fn text(value: &Value, kind: &Kind) -> String {
    match kind {
        Kind::List(_) => {
            let items = value.as_array().into_iter().flatten();
            let items: Vec<String> = items.map(|item| escaped(&bare(item))).collect();
            items.join(&SEPARATOR.to_string())
        }
        Kind::Extensions | Kind::Json => value.to_string(),
        Kind::Text | Kind::Word(_) | Kind::Number | Kind::Whole | Kind::Bool => bare(value),
    }
}

/// An item of a list, with an escape before each separator.
fn escaped(item: &str) -> String {
    let mut text = String::new();
    for character in item.chars() {
        if matches!(character, SEPARATOR | ESCAPE) {
            text.push(ESCAPE);
        }
        text.push(character);
    }
    text
}

fn bare(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        // Numbers are written in the shortest form that reads back as the same number, as in JSON.
        other => other.to_string(),
    }
}

/// The value of a cell that is not empty. `None` for extensions that only indicate that the object
/// exists.
pub(crate) fn read(cell: &Cell<'_>, kind: &Kind) -> Result<Option<Value>, CellError> {
    match (kind, cell) {
        (Kind::Number | Kind::Whole, Cell::Number(number)) => {
            Ok(Some(Value::Number(number.clone())))
        }
        (Kind::Bool, Cell::Bool(truth)) => Ok(Some(Value::Bool(*truth))),
        (Kind::Number | Kind::Whole, Cell::Bool(_)) => {
            Err(CellError::Kind(format!("{} is not a number", cell.text())))
        }
        _ => read_text(&cell.text(), kind),
    }
}

fn read_text(cell: &str, kind: &Kind) -> Result<Option<Value>, CellError> {
    match kind {
        // The model checks whether a word is in its vocabulary, and suggests the nearest one.
        Kind::Text | Kind::Word(_) => Ok(Some(Value::String(cell.to_owned()))),
        Kind::Number | Kind::Whole => number(cell).map(Some),
        Kind::Bool => match cell {
            // Spreadsheets write capitals; these are the words of Table Schema.
            "true" | "True" | "TRUE" | "1" => Ok(Some(Value::Bool(true))),
            "false" | "False" | "FALSE" | "0" => Ok(Some(Value::Bool(false))),
            _ => Err(CellError::Kind(format!("{} is neither true nor false", show(cell)))),
        },
        Kind::List(item) => {
            let mut items = Vec::new();
            for text in split(cell) {
                // The model reports empty items.
                let text = if matches!(**item, Kind::Text | Kind::Word(_)) {
                    Ok(Some(Value::String(text)))
                } else {
                    read_text(&text, item)
                };
                items.extend(text?);
            }
            Ok(Some(Value::Array(items)))
        }
        Kind::Extensions if cell.trim() == "{}" => Ok(None),
        // The model's type refuses errors that a plain value would not notice, such as a duplicate
        // key.
        Kind::Extensions => serde_json::from_str::<obvert_model::extension::Extensions>(cell)
            .and_then(|extensions| serde_json::to_value(&extensions))
            .map(Some)
            .map_err(|error| {
                CellError::Json(format!(
                    "extensions are one JSON object by reverse domain name: {error}"
                ))
            }),
        Kind::Json => serde_json::from_str(cell)
            .map(Some)
            .map_err(|error| CellError::Json(format!("not JSON: {error}"))),
    }
}

fn split(cell: &str) -> Vec<String> {
    let mut items = vec![String::new()];
    let mut characters = cell.chars().peekable();
    while let Some(character) = characters.next() {
        match character {
            SEPARATOR => items.push(String::new()),
            ESCAPE => {
                let escaped = characters
                    .next_if(|next| matches!(*next, SEPARATOR | ESCAPE))
                    .unwrap_or(ESCAPE);
                items.last_mut().into_iter().for_each(|item| item.push(escaped));
            }
            _ => items.last_mut().into_iter().for_each(|item| item.push(character)),
        }
    }
    items
}

/// A number as people and spreadsheets write it: digits with a sign, a decimal point and an
/// exponent. Unlike in JSON, leading zeros, a plus sign and a point at either end are allowed.
pub(crate) fn number(cell: &str) -> Result<Value, CellError> {
    if !is_number(cell) {
        let hint = if is_number(&cell.replacen(',', ".", 1)) {
            "; write a decimal point, and no thousands separators"
        } else if is_number(cell.trim()) {
            "; remove the spaces around it"
        } else if cell.starts_with('#') {
            "; a spreadsheet wrote an error instead of the number"
        } else if is_number(
            cell.trim_end_matches(|c: char| c.is_alphabetic() || " \"'%".contains(c)),
        ) {
            "; write the number without its unit, which goes into the document table or a column of its own"
        } else {
            ""
        };
        return Err(CellError::Kind(format!("{} is not a number{hint}", show(cell))));
    }
    let whole = cell.parse::<i64>().ok().map(Number::from);
    let number = whole.or_else(|| cell.parse::<f64>().ok().and_then(Number::from_f64));
    number.map(Value::Number).ok_or_else(|| {
        CellError::Kind(format!("the number {} is too large; correct it", show(cell)))
    })
}

fn is_number(cell: &str) -> bool {
    let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    let unsigned = cell.strip_prefix(['+', '-']).unwrap_or(cell);
    let (mantissa, exponent) = match unsigned.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => {
            (mantissa, Some(exponent.strip_prefix(['+', '-']).unwrap_or(exponent)))
        }
        None => (unsigned, None),
    };
    let (before, after) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    digits(before)
        && digits(after)
        && !(before.is_empty() && after.is_empty())
        && exponent.is_none_or(|exponent| !exponent.is_empty() && digits(exponent))
}

/// A cell as it is shown in a message: in quotation marks, and shortened to a line.
pub(crate) fn show(cell: &str) -> String {
    const LONGEST: usize = 60;
    if cell.chars().count() > LONGEST {
        format!("{:?}…", cell.chars().take(LONGEST).collect::<String>())
    } else {
        format!("{cell:?}")
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn numbers_are_read_as_spreadsheets_write_them() {
        let cases = [
            ("12", json!(12)),
            ("-0.3", json!(-0.3)),
            ("1E+05", json!(100_000.0)),
            ("+4", json!(4)),
            (".5", json!(0.5)),
            ("5.", json!(5.0)),
            ("007", json!(7)),
            ("-00.50e+1", json!(-5.0)),
        ];
        for (cell, value) in cases {
            assert_eq!(number(cell), Ok(value), "{cell}");
        }
        for cell in [
            "", ".", "-", "1e", "e5", "12,5", "1 200", "inf", "NaN", "0x10", "12 m", "1e999",
            "--1", "１",
        ] {
            assert!(number(cell).is_err(), "{cell}");
        }
    }

    #[test]
    fn lists_keep_their_items_apart() {
        let kind = Kind::List(Box::new(Kind::Text));
        for items in [
            json!(["A", "B"]),
            json!([";", "\\", "\\;", ";;"]),
            json!(["=1", "'=1"]),
            json!(["'", "-"]),
        ] {
            let cell = text(&items, &kind);
            assert_eq!(read_text(&cell, &kind), Ok(Some(items)), "{cell}");
        }
        assert_eq!(text(&json!(["A", "B"]), &kind), "A;B");
        // A backslash before any other character is a backslash, for people who write cells by
        // hand.
        assert_eq!(read_text("C:\\x", &kind), Ok(Some(json!(["C:\\x"]))));
        assert_eq!(read_text("A;;B", &kind), Ok(Some(json!(["A", "", "B"]))));
    }

    #[test]
    fn errors_in_extensions_are_explained() {
        assert_eq!(read_text("{}", &Kind::Extensions), Ok(None));
        assert_eq!(read_text("{\"a.b\":[1]}", &Kind::Extensions), Ok(Some(json!({"a.b": [1]}))));
        for cell in [
            "{\"a.b\":1,\"a.b\":2}",
            "{\"a.b\":{\"x\":1,\"x\":2}}",
            "{\"x\":1}",
            "[]",
            "{",
            "{\"a.b\":1e17}",
            "{} {}",
        ] {
            assert!(
                matches!(read_text(cell, &Kind::Extensions), Err(CellError::Json(_))),
                "{cell}"
            );
        }
    }
}
