//! What stands in a cell, both ways: stations, feet and inches, dates and times in a pattern, clock references, amounts
//! with their unit, and plain numbers and words.

use obvert_model::layout::{CellKind, Column, Layout};
use obvert_model::profile::Scalar;
use serde_json::{Value, json};

/// What a cell becomes.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Read {
    /// A value of its field.
    Value(Value),
    /// A date, `yyyy-mm-dd`, or a time, `hh:mm:ss`, of a moment that two columns hold.
    Part(String),
    /// An amount and its unit.
    Amount(Value, &'static str),
}

/// The pieces of a pattern: one of the letters of a date or time, repeated, or any other text.
fn pieces(pattern: &str) -> Vec<&str> {
    let mut found = Vec::new();
    let mut rest = pattern;
    while let Some(first) = rest.chars().next() {
        let end = if rest.starts_with("am") {
            2
        } else if "dmyhs".contains(first) {
            rest.find(|c| c != first).unwrap_or(rest.len())
        } else {
            first.len_utf8()
        };
        found.push(&rest[..end]);
        rest = &rest[end..];
    }
    found
}

/// The numbers of a cell by the letter of their piece; `a` is 0 before noon and 1 after. `None` when the cell has another form.
fn by_pattern(cell: &str, pattern: &str) -> Option<Vec<(char, u32)>> {
    let mut rest = cell.trim();
    let mut found = Vec::new();
    for piece in pieces(pattern) {
        match piece {
            "am" => {
                let half = rest.get(..2)?.to_ascii_lowercase();
                found.push(('a', ["am", "pm"].iter().position(|word| *word == half)?.try_into().ok()?));
                rest = &rest[2..];
            }
            _ if piece.starts_with(['d', 'm', 'y', 'h', 's']) => {
                let most = if piece.starts_with('y') { 4 } else { 2 };
                let digits = rest.bytes().take(most).take_while(u8::is_ascii_digit).count();
                if digits == 0 || (most == 4 && digits != 4) {
                    return None;
                }
                found.push((piece.chars().next()?, rest[..digits].parse().ok()?));
                rest = &rest[digits..];
            }
            // Systems differ in whether they write the space before am; one of them is not worth a refusal.
            " " => rest = rest.trim_start(),
            _ => rest = rest.strip_prefix(piece)?,
        }
    }
    rest.is_empty().then_some(found)
}

fn date(cell: &str, pattern: &str) -> Option<String> {
    let found = by_pattern(cell, pattern)?;
    let of = |letter| found.iter().find(|(other, _)| *other == letter).map(|(_, number)| *number);
    let (year, month, day) = (of('y')?, of('m')?, of('d')?);
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days = match month {
        2 => 28 + u32::from(leap),
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return None,
    };
    (1..=days).contains(&day).then(|| format!("{year:04}-{month:02}-{day:02}"))
}

fn time(cell: &str, pattern: &str) -> Option<String> {
    let found = by_pattern(cell, pattern)?;
    let of = |letter| found.iter().find(|(other, _)| *other == letter).map(|(_, number)| *number);
    let (mut hour, minute, second) = (of('h')?, of('m')?, of('s').unwrap_or(0));
    if let Some(half) = of('a') {
        if !(1..=12).contains(&hour) {
            return None;
        }
        hour = hour % 12 + 12 * half;
    }
    (hour < 24 && minute < 60 && second < 60).then(|| format!("{hour:02}:{minute:02}:{second:02}"))
}

/// A date or time, given by its numbers in RFC 3339 form, in a pattern.
fn in_pattern(part: &str, pattern: &str, is_date: bool) -> Option<String> {
    let numbers: Vec<u32> = part.split(['-', ':']).map(str::parse).collect::<Result<_, _>>().ok()?;
    let [first, second, third] = numbers[..] else { return None };
    let halves = pieces(pattern).contains(&"am");
    let mut text = String::new();
    for piece in pieces(pattern) {
        let number = match (piece.chars().next()?, is_date) {
            _ if piece == "am" => {
                text.push_str(if first < 12 { "AM" } else { "PM" });
                continue;
            }
            ('y', true) => first,
            ('m', _) => second,
            ('d', true) | ('s', false) => third,
            ('h', false) if halves => (first + 11) % 12 + 1,
            ('h', false) => first,
            _ => {
                text.push_str(piece);
                continue;
            }
        };
        text.push_str(&format!("{number:0width$}", width = piece.len()));
    }
    Some(text)
}

/// The marks of the numbers of a table.
pub(super) struct Marks<'l> {
    decimal: &'l str,
    thousands: Option<&'l str>,
}

impl<'l> Marks<'l> {
    pub(super) fn of(layout: &'l Layout) -> Self {
        let decimal = layout.table.decimal_mark.as_deref().unwrap_or(".");
        Self { decimal, thousands: layout.table.thousands_mark.as_deref() }
    }

    fn number(&self, cell: &str) -> Option<f64> {
        let mut plain = cell.trim().to_owned();
        if let Some(mark) = self.thousands {
            // A mark stands before three digits each, and before nothing else.
            let whole = plain.split(self.decimal).next().unwrap_or_default();
            let mut groups = whole.split(mark);
            let first = groups.next().unwrap_or_default().trim_start_matches(['-', '+']);
            let mut grouped = false;
            for group in groups {
                grouped = true;
                if group.len() != 3 {
                    return None;
                }
            }
            if grouped && (first.is_empty() || first.len() > 3) {
                return None;
            }
            plain = plain.replace(mark, "");
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

    fn write(&self, number: f64, decimals: Option<u32>) -> String {
        let text = match decimals {
            Some(decimals) => format!("{number:.*}", decimals as usize),
            None => format!("{number}"),
        };
        if self.decimal == "." { text } else { text.replacen('.', self.decimal, 1) }
    }
}

/// A number as JSON has it: whole without a fraction.
#[allow(clippy::cast_possible_truncation)]
pub(super) fn number(value: f64) -> Value {
    if value.fract() == 0.0 && value.abs() < 9_007_199_254_740_992.0 { json!(value as i64) } else { json!(value) }
}

fn scalar(value: &Scalar) -> Value {
    match value {
        Scalar::Text(text) => Value::String(text.to_string()),
        Scalar::Number(value) => number(*value),
        Scalar::Bool(value) => Value::Bool(*value),
    }
}

/// The nearest number to a sum of hundreds or twelfths, without the noise of its last binary digits.
fn tidy(value: f64) -> f64 {
    format!("{value:.9}").parse().unwrap_or(value)
}

fn clock(cell: &str, separator: Option<&str>, marks: &Marks<'_>) -> Option<Value> {
    let cell = cell.trim();
    let hour = |text: &str| marks.number(text).map(number);
    match separator {
        Some(separator) => match cell.split_once(separator) {
            Some((from, to)) => Some(json!({"from": hour(from)?, "to": hour(to)?})),
            None => Some(json!({"at": hour(cell)?})),
        },
        None if cell.len() == 4 && cell.bytes().all(|byte| byte.is_ascii_digit()) => {
            Some(json!({"from": hour(&cell[..2])?, "to": hour(&cell[2..])?}))
        }
        None => Some(json!({"at": hour(cell)?})),
    }
}

fn station(cell: &str, marks: &Marks<'_>) -> Option<f64> {
    let (hundreds, rest) = cell.trim().split_once('+')?;
    let whole = hundreds.trim_start_matches('-');
    if whole.is_empty() || !whole.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let rest = marks.number(rest).filter(|rest| (0.0..100.0).contains(rest) && !cell.contains("+-"))?;
    let value = tidy(whole.parse::<f64>().ok()? * 100.0 + rest);
    Some(if hundreds.starts_with('-') { -value } else { value })
}

fn feet(cell: &str, marks: &Marks<'_>) -> Option<f64> {
    let cell = cell.trim();
    let (feet, inches) = cell.split_once('\'').unwrap_or(if cell.ends_with('"') { ("0", cell) } else { (cell, "") });
    let inches = inches.trim().trim_start_matches('-').trim();
    let inches = match inches.strip_suffix('"') {
        Some(inches) => marks.number(inches)?,
        None if inches.is_empty() && cell.ends_with('\'') => 0.0,
        None => return None,
    };
    let whole = marks.number(feet)?;
    let value = whole.abs() + inches / 12.0;
    (0.0..12.0).contains(&inches).then(|| if feet.trim().starts_with('-') { -tidy(value) } else { tidy(value) })
}

fn duration(cell: &str) -> Option<f64> {
    let parts: Vec<&str> = cell.trim().split(':').collect();
    let [hours, minutes, seconds] = parts[..] else { return None };
    let whole = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit()).then(|| text.parse::<f64>().ok()).flatten();
    let minutes = whole(minutes).filter(|minutes| *minutes < 60.0)?;
    let seconds = seconds.parse::<f64>().ok().filter(|seconds| (0.0..60.0).contains(seconds))?;
    Some(tidy(whole(hours)? * 3600.0 + minutes * 60.0 + seconds))
}

/// What was expected in a cell of a column.
fn expected(column: &Column, layout: &Layout) -> String {
    let mark = layout.table.decimal_mark.as_deref().unwrap_or(".");
    let pattern = column.pattern.as_deref().unwrap_or_default();
    if !column.translate.is_empty() {
        let words: Vec<&str> = column.translate.iter().map(|translation| translation.text.as_str()).collect();
        return format!("one of {}", words.join(", "));
    }
    match column.kind.unwrap_or(CellKind::Text) {
        CellKind::Text => "a text".to_owned(),
        CellKind::Number => format!("a number such as 12{mark}5"),
        CellKind::Station => format!("a station such as 1+64{mark}50"),
        CellKind::FeetAndInches => "feet and inches such as 12'6\"".to_owned(),
        CellKind::Amount => {
            let words: Vec<&str> = layout.units.iter().map(|word| word.text.trim()).collect();
            format!("a number with its unit, one of {}", words.join(", "))
        }
        CellKind::Date => format!("a date as {pattern}"),
        CellKind::Time => format!("a time as {pattern}"),
        CellKind::Duration => "a time as h:mm:ss".to_owned(),
        CellKind::Clock => match column.separator.as_deref() {
            Some(separator) => format!("a clock position such as 3, or two such as 11{separator}1"),
            None => "a clock position such as 3, or two such as 1101".to_owned(),
        },
        CellKind::YesNo => "a word for yes or no".to_owned(),
    }
}

/// The value of a cell that is not blank.
///
/// # Errors
/// What was expected.
pub(super) fn read(cell: &str, column: &Column, layout: &Layout) -> Result<Read, String> {
    let marks = Marks::of(layout);
    let wrong = || expected(column, layout);
    if let Some(translation) = column.translate.iter().find(|translation| *translation.text == *cell.trim()) {
        return Ok(Read::Value(scalar(&translation.value)));
    }
    let pattern = column.pattern.as_deref().unwrap_or_default();
    let of_number = |found: Option<f64>| found.map(|value| Read::Value(number(value))).ok_or_else(wrong);
    match column.kind.unwrap_or(CellKind::Text) {
        CellKind::Text if column.translate.is_empty() => {
            Ok(Read::Value(Value::String(crate::csv::plain(cell).to_owned())))
        }
        CellKind::Text | CellKind::YesNo => Err(wrong()),
        CellKind::Number => of_number(marks.number(cell)),
        CellKind::Station => of_number(station(cell, &marks)),
        CellKind::FeetAndInches => of_number(feet(cell, &marks)),
        CellKind::Duration => of_number(duration(cell)),
        CellKind::Date => date(cell, pattern).map(Read::Part).ok_or_else(wrong),
        CellKind::Time => time(cell, pattern).map(Read::Part).ok_or_else(wrong),
        CellKind::Clock => clock(cell, column.separator.as_deref(), &marks).map(Read::Value).ok_or_else(wrong),
        CellKind::Amount => {
            // The longest word first, so that "mm" is not taken for an "m" behind another.
            let mut words: Vec<_> = layout.units.iter().collect();
            words.sort_by_key(|word| std::cmp::Reverse(word.text.trim().len()));
            let amount = words.iter().find_map(|word| {
                let value = marks.number(cell.trim().strip_suffix(word.text.trim())?)?;
                Some(Read::Amount(number(value), word.unit.as_str()))
            });
            amount.ok_or_else(wrong)
        }
    }
}

/// The cell of a value; `None` where the column cannot hold it. An amount is an object of value and unit; a moment is in RFC 3339.
pub(super) fn write(value: &Value, column: &Column, layout: &Layout) -> Option<String> {
    let marks = Marks::of(layout);
    if let Some(translation) = column.translate.iter().find(|translation| scalar(&translation.value) == *value) {
        return Some(translation.text.to_string());
    }
    let is = value.as_f64();
    let pattern = column.pattern.as_deref().unwrap_or_default();
    match column.kind.unwrap_or(CellKind::Text) {
        CellKind::Text if column.translate.is_empty() => value.as_str().map(crate::csv::harmless),
        CellKind::Text | CellKind::YesNo => None,
        CellKind::Number => is.map(|number| marks.write(number, column.decimals)),
        CellKind::Station => is.map(|number| {
            // Rounded first, so that 99.999 with two decimals is 1+00.00 and not 0+100.00.
            let decimals = column.decimals.unwrap_or(2);
            let rounded: f64 = format!("{:.*}", decimals as usize, number.abs()).parse().unwrap_or(number);
            let hundreds = (rounded / 100.0).floor();
            let width = if decimals == 0 { 2 } else { decimals as usize + 3 };
            let rest = format!("{:0>width$}", marks.write(rounded - hundreds * 100.0, Some(decimals)));
            format!("{}{hundreds}+{rest}", if number < 0.0 { "-" } else { "" })
        }),
        CellKind::FeetAndInches => is.map(|number| {
            let decimals = column.decimals.unwrap_or(2);
            let all: f64 = format!("{:.*}", decimals as usize, number.abs() * 12.0).parse().unwrap_or(number * 12.0);
            let feet = (all / 12.0).floor();
            let inches = tidy(all - feet * 12.0);
            format!("{}{feet}'{}\"", if number < 0.0 { "-" } else { "" }, marks.write(inches, None))
        }),
        CellKind::Duration => is.filter(|seconds| *seconds >= 0.0).map(|seconds| {
            let whole = seconds.floor();
            let (hours, rest) = ((whole / 3600.0).floor(), whole % 3600.0);
            let fraction = format!("{:.3}", seconds - whole);
            let fraction = fraction.trim_start_matches('0').trim_end_matches('0').trim_end_matches('.');
            format!("{hours}:{:02}:{:02}{fraction}", (rest / 60.0).floor(), rest % 60.0)
        }),
        CellKind::Date => in_pattern(value.as_str()?.get(..10)?, pattern, true),
        CellKind::Time => in_pattern(value.as_str()?.get(11..19)?, pattern, false),
        CellKind::Clock => {
            let hour = |key: &str| Some(marks.write(value.get(key)?.as_f64()?, None));
            match (hour("at"), hour("from"), hour("to"), column.separator.as_deref()) {
                (Some(at), None, None, _) => Some(at),
                (None, Some(from), Some(to), Some(separator)) => Some(format!("{from}{separator}{to}")),
                (None, Some(from), Some(to), None) if from.len() < 3 && to.len() < 3 => {
                    Some(format!("{from:0>2}{to:0>2}"))
                }
                _ => None,
            }
        }
        CellKind::Amount => {
            let unit = value.get("unit")?.as_str()?;
            let word = layout.units.iter().find(|word| word.unit.as_str() == unit)?;
            Some(format!("{}{}", marks.write(value.get("value")?.as_f64()?, column.decimals), word.text))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layout(decimal: &str, thousands: Option<&str>) -> Layout {
        let mut layout = json!({
            "layout": "0.1", "id": "l", "version": "1", "title": "l",
            "table": {"encoding": "utf-8", "delimiter": ";", "decimal_mark": decimal},
            "units": [{"text": " in", "unit": "in"}, {"text": " m", "unit": "m"}, {"text": " mm", "unit": "mm"}, {"text": "%", "unit": "percent"}]
        });
        if let Some(mark) = thousands {
            layout["table"]["thousands_mark"] = mark.into();
        }
        Layout::read(layout.to_string().as_bytes()).unwrap()
    }

    fn column(kind: &str, more: &Value) -> Column {
        let mut column = json!({"heading": "h", "to": "runs.observations.at", "kind": kind});
        for (key, value) in more.as_object().into_iter().flatten() {
            column[key] = value.clone();
        }
        serde_json::from_value(column).unwrap()
    }

    /// Both ways: what a cell becomes, and the cell again.
    #[test]
    fn cells_become_values_and_cells_again() {
        let none = json!({});
        let cases = [
            ("number", json!({"decimals": 2}), "1234,50", json!(1234.5)),
            ("number", none.clone(), "-0,3", json!(-0.3)),
            ("station", none.clone(), "1+64,50", json!(164.5)),
            ("station", none.clone(), "0+00,00", json!(0)),
            ("station", none.clone(), "12+05,07", json!(1205.07)),
            ("station", json!({"decimals": 0}), "0+07", json!(7)),
            ("feet-and-inches", none.clone(), "12'6\"", json!(12.5)),
            ("feet-and-inches", none.clone(), "-3'3\"", json!(-3.25)),
            ("duration", none.clone(), "0:12:02", json!(722)),
            ("duration", none.clone(), "1:00:00.5", json!(3600.5)),
            ("clock", json!({"separator": "-"}), "11-1", json!({"from": 11, "to": 1})),
            ("clock", json!({"separator": "-"}), "2", json!({"at": 2})),
            ("clock", none.clone(), "1101", json!({"from": 11, "to": 1})),
            ("yes-no", json!({"translate": [{"text": "Y", "value": true}]}), "Y", json!(true)),
            ("text", none, "'=1+1", json!("=1+1")),
        ];
        let layout = layout(",", None);
        for (kind, more, cell, value) in cases {
            let column = column(kind, &more);
            assert_eq!(read(cell, &column, &layout), Ok(Read::Value(value.clone())), "{kind} {cell}");
            assert_eq!(write(&value, &column, &layout).as_deref(), Some(cell), "{kind} {value}");
        }
    }

    #[test]
    fn amounts_have_their_unit() {
        let (layout, column) = (layout(".", None), column("amount", &json!({})));
        for (cell, value, unit) in [
            ("4 in", json!(4), "in"),
            ("0.5 m", json!(0.5), "m"),
            ("5 mm", json!(5), "mm"),
            ("5%", json!(5), "percent"),
        ] {
            assert_eq!(read(cell, &column, &layout), Ok(Read::Amount(value.clone(), unit)));
            assert_eq!(write(&json!({"value": value, "unit": unit}), &column, &layout).as_deref(), Some(cell));
        }
        assert_eq!(read("4 ft", &column, &layout), Err("a number with its unit, one of in, m, mm, %".to_owned()));
    }

    /// ISO 8601 / RFC 3339 for the result; noon and midnight of the 12-hour clock as NIST has them (12 a.m. is midnight).
    #[test]
    fn dates_and_times_follow_their_pattern() {
        let layout = layout(".", None);
        let cases = [
            ("date", "dd.mm.yyyy", "17.03.2026", "2026-03-17"),
            ("date", "m/d/yyyy", "5/6/2026", "2026-05-06"),
            ("date", "yyyymmdd", "20280229", "2028-02-29"),
            ("time", "h:mm am", "9:31 AM", "09:31:00"),
            ("time", "h:mm am", "12:05 AM", "00:05:00"),
            ("time", "h:mm am", "12:05 PM", "12:05:00"),
            ("time", "hh:mm:ss", "23:59:59", "23:59:59"),
        ];
        for (kind, pattern, cell, part) in cases {
            let column = column(kind, &json!({"pattern": pattern}));
            assert_eq!(read(cell, &column, &layout), Ok(Read::Part(part.to_owned())), "{cell}");
            let moment = if kind == "date" { format!("{part}T00:00:00Z") } else { format!("2026-01-01T{part}Z") };
            assert_eq!(write(&json!(moment), &column, &layout).as_deref(), Some(cell));
        }
        for (kind, pattern, cell) in [
            ("date", "dd.mm.yyyy", "29.02.2026"),
            ("date", "dd.mm.yyyy", "17.13.2026"),
            ("date", "m/d/yyyy", "5/6/26"),
            ("time", "h:mm am", "13:05 PM"),
            ("time", "hh:mm:ss", "24:00:00"),
            ("time", "hh:mm", "09:30:00"),
        ] {
            assert!(read(cell, &column(kind, &json!({"pattern": pattern})), &layout).is_err(), "{cell}");
        }
    }

    #[test]
    fn what_is_no_number_is_refused() {
        let grouped = layout(",", Some("."));
        let plain = column("number", &json!({}));
        assert_eq!(read("1.234.567,5", &plain, &grouped), Ok(Read::Value(json!(1_234_567.5))));
        for cell in ["1.23,5", "1.2345", ".123", "1,2,3", "inf", "NaN", "12 m", "1e", "-"] {
            assert_eq!(read(cell, &plain, &grouped), Err("a number such as 12,5".to_owned()), "{cell}");
        }
        // A point where the decimal mark is a comma is not guessed at.
        assert!(read("1.5", &plain, &layout(",", None)).is_err());
        for (kind, cells) in [
            ("station", ["164.5", "1+100", "+5", "1+-5"]),
            ("feet-and-inches", ["12", "12'12\"", "12'6", "x'"]),
            ("duration", ["12:02", "0:60:00", "0:00:60", "-1:00:00"]),
            ("clock", ["x", "11-", "11/1", ""]),
        ] {
            for cell in cells {
                let column = column(kind, &json!({"separator": "-"}));
                assert!(read(cell, &column, &layout(".", None)).is_err(), "{kind} {cell}");
            }
        }
    }

    #[test]
    fn a_station_is_rounded_before_it_is_split() {
        let layout = layout(".", None);
        assert_eq!(write(&json!(99.999), &column("station", &json!({})), &layout).as_deref(), Some("1+00.00"));
        assert_eq!(write(&json!(11.9999), &column("feet-and-inches", &json!({})), &layout).as_deref(), Some("12'0\""));
    }
}
