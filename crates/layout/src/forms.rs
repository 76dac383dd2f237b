//! What stands in a cell, both ways: stations, feet and inches, dates and times in a pattern, clock references, amounts
//! with their unit, and plain numbers and words.

use obvert_model::layout::{CellKind, Column, Layout};
use obvert_model::profile::Scalar;
use obvert_model::tables::QuantityUnit;
use serde_json::{Value, json};

use super::pattern::{self, Written};

/// What a cell becomes.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Read {
    /// A value of its field.
    Value(Value),
    /// A date, `yyyy-mm-dd`, and a time, `hh:mm:ss`, of a moment, of which two columns can hold one each.
    Moment(Option<String>, Option<String>),
    /// An amount and its unit.
    Amount(Value, &'static str),
}

/// The marks of the numbers of a table.
pub(super) struct Marks<'l> {
    decimal: &'l str,
    thousands: Option<&'l str>,
}

impl<'l> Marks<'l> {
    pub(super) fn of(layout: &'l Layout) -> Self {
        let (decimal, thousands) = layout.marks();
        Self { decimal, thousands }
    }

    /// The number that a cell is, by these marks.
    pub(super) fn number(&self, cell: &str) -> Option<f64> {
        let mut plain = cell.trim().to_owned();
        if let Some(mark) = self.thousands {
            // A mark stands before three digits each, and before nothing else.
            let (whole, fraction) = plain.split_once(self.decimal).unwrap_or((&plain, ""));
            if fraction.contains(mark) {
                return None;
            }
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

    /// A number with these marks; with as many decimals as it has where none are told.
    pub(super) fn write(&self, number: f64, decimals: Option<u32>) -> String {
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
        Scalar::Number(value) => number(value.get()),
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

fn duration(cell: &str, hours: bool) -> Option<f64> {
    let parts: Vec<&str> = cell.trim().split(':').collect();
    let whole = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit()).then(|| text.parse::<f64>().ok()).flatten();
    let (hours, minutes, seconds) = match parts[..] {
        [hours_text, minutes, seconds] if hours => {
            (hours_text, whole(minutes).filter(|minutes| *minutes < 60.0)?, seconds)
        }
        [minutes, seconds] if !hours => ("0", whole(minutes)?, seconds),
        _ => return None,
    };
    let seconds = seconds.parse::<f64>().ok().filter(|seconds| (0.0..60.0).contains(seconds))?;
    Some(tidy(whole(hours)? * 3600.0 + minutes * 60.0 + seconds))
}

/// What was expected in a cell of a column.
fn expected(column: &Column, layout: &Layout) -> String {
    let mark = layout.marks().0;
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
        CellKind::Date | CellKind::Time | CellKind::DateTime if pattern.starts_with("serial") => {
            format!("a day number of a spreadsheet ({pattern})")
        }
        CellKind::Date => format!("a date as {pattern}"),
        CellKind::Time => format!("a time as {pattern}"),
        CellKind::DateTime => format!("a date and time as {pattern}"),
        CellKind::Duration => format!("a time as {}", column.pattern.as_deref().unwrap_or("h:mm:ss")),
        CellKind::Clock => match column.separator.as_deref() {
            Some(separator) => format!("a clock position such as 3, or two such as 11{separator}1"),
            None => "a clock position such as 3, or two such as 1101".to_owned(),
        },
        CellKind::YesNo => "a word for yes or no".to_owned(),
    }
}

/// A cell without what keeps a spreadsheet from reading it as it likes: `="007"`, and an apostrophe before a number.
fn bare(cell: &str) -> &str {
    let cell = cell.trim();
    match cell.strip_prefix("=\"").and_then(|rest| rest.strip_suffix('"')) {
        Some(inner) if !inner.contains('"') => inner.trim(),
        _ => cell.strip_prefix('\'').filter(|rest| !rest.is_empty()).unwrap_or(cell),
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
    let kind = column.kind.unwrap_or(CellKind::Text);
    let cell = if kind == CellKind::Text && !cell.trim_start().starts_with("=\"") { cell } else { bare(cell) };
    let pattern = column.pattern.as_deref().unwrap_or_default();
    let wrong_moment = || match pattern::impossible(cell, pattern, kind == CellKind::Time) {
        Some(why) => format!("{}; {why}", wrong()),
        None => wrong(),
    };
    let of_number = |found: Option<f64>| found.map(|value| Read::Value(number(value))).ok_or_else(wrong);
    let as_number = || marks.number(cell);
    match kind {
        CellKind::Text if column.translate.is_empty() => {
            // What a spreadsheet would run was made harmless; no spreadsheet opens XML as a table.
            let text = if layout.xml.is_some() { cell } else { obvert_convert::csv::plain(cell) };
            Ok(Read::Value(Value::String(text.to_owned())))
        }
        CellKind::Text | CellKind::YesNo => Err(wrong()),
        CellKind::Number => of_number(as_number()),
        CellKind::Station => of_number(station(cell, &marks)),
        CellKind::FeetAndInches => of_number(feet(cell, &marks)),
        CellKind::Duration => of_number(duration(cell, column.pattern.is_none())),
        CellKind::Date => pattern::date(cell, as_number(), pattern)
            .map(|date| Read::Moment(Some(date), None))
            .ok_or_else(wrong_moment),
        CellKind::Time => pattern::time(cell, as_number(), pattern)
            .map(|time| Read::Moment(None, Some(time)))
            .ok_or_else(wrong_moment),
        CellKind::DateTime => {
            let both = pattern::both(cell, as_number(), pattern);
            both.map(|(date, time)| Read::Moment(Some(date), Some(time))).ok_or_else(wrong_moment)
        }
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

/// The value of a cell that a sheet shows as a percentage.
///
/// # Errors
/// What was expected.
pub(super) fn percentage(shown: &str, percent: f64, column: &Column, layout: &Layout) -> Result<Read, String> {
    let amounts = column.to.as_deref() == Some("runs.observations.quantities.value");
    match (column.kind.unwrap_or(CellKind::Text), column.unit) {
        (CellKind::Number, None | Some(QuantityUnit::Percent)) if amounts => {
            Ok(Read::Amount(number(percent), QuantityUnit::Percent.as_str()))
        }
        _ => read(shown, column, layout).map_err(|wanted| {
            let unit = column.unit.map(|unit| format!(" in {unit}")).unwrap_or_default();
            format!(
                "{wanted}{unit}, and the cell is formatted as a percentage; format it as {} and type it again",
                if column.kind == Some(CellKind::Number) { "a number" } else { "text" }
            )
        }),
    }
}

/// A number with zeros before it, so that it has as many digits before its decimal mark as are asked for.
fn padded(text: &str, digits: Option<u32>) -> String {
    let (sign, rest) = text.strip_prefix('-').map_or(("", text), |rest| ("-", rest));
    let own = rest.bytes().take_while(u8::is_ascii_digit).count();
    format!("{sign}{}{rest}", "0".repeat((digits.unwrap_or(0).min(20) as usize).saturating_sub(own)))
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
        CellKind::Text if column.translate.is_empty() => value
            .as_str()
            .map(str::to_owned)
            .map(|text| if layout.xml.is_some() { text } else { obvert_convert::csv::harmless(text) }),
        CellKind::Text | CellKind::YesNo => None,
        CellKind::Number => is.map(|number| padded(&marks.write(number, column.decimals), column.digits)),
        CellKind::Station => is.map(|number| {
            // Rounded first, so that 99.999 with two decimals is 1+00.00 and not 0+100.00.
            let decimals = column.decimals.unwrap_or(2);
            let rounded: f64 = format!("{:.*}", decimals as usize, number.abs()).parse().unwrap_or(number);
            let hundreds = (rounded / 100.0).floor();
            let width = if decimals == 0 { 2 } else { decimals as usize + 3 };
            let rest = format!("{:0>width$}", marks.write(rounded - hundreds * 100.0, Some(decimals)));
            // A spreadsheet would take a sign before it for a sum.
            if number < 0.0 && layout.xml.is_some() {
                return format!("-{hundreds}+{rest}");
            }
            if number < 0.0 { format!("'-{hundreds}+{rest}") } else { format!("{hundreds}+{rest}") }
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
            let fraction = format!("{:.3}", seconds - whole);
            let fraction = fraction.trim_start_matches('0').trim_end_matches('0').trim_end_matches('.');
            let (minutes, rest) = ((whole / 60.0).floor(), whole % 60.0);
            if column.pattern.is_some() {
                let width = pattern.find(':').unwrap_or(1);
                return format!("{minutes:0>width$}:{rest:02}{fraction}");
            }
            let hours = padded(&(minutes / 60.0).floor().to_string(), column.digits);
            format!("{hours}:{:02}:{rest:02}{fraction}", minutes % 60.0)
        }),
        CellKind::Date | CellKind::Time | CellKind::DateTime => {
            let parts = (column.kind != Some(CellKind::Time), column.kind != Some(CellKind::Date));
            Some(match pattern::write(value.as_str()?, pattern, parts)? {
                Written::Text(text) => text,
                Written::Number(number) => marks.write(number, None),
            })
        }
        CellKind::Clock => {
            let hour = |key: &str| Some(padded(&marks.write(value.get(key)?.as_f64()?, None), column.digits));
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
            ("number", json!({"digits": 3}), "-007,5", json!(-7.5)),
            ("duration", json!({"digits": 2}), "00:12:02", json!(722)),
            ("clock", json!({"separator": "-", "digits": 2}), "11-01", json!({"from": 11, "to": 1})),
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
            ("duration", json!({"pattern": "m:ss"}), "75:09", json!(4509)),
            ("duration", json!({"pattern": "mm:ss"}), "05:20", json!(320)),
            ("station", none.clone(), "'-0+05,00", json!(-5)),
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
            ("date", "d mmm yy", "7 Mar 26", "2026-03-07"),
            ("time", "h:mm am", "9:31 AM", "09:31:00"),
            ("time", "h:mm am", "12:05 AM", "00:05:00"),
            ("time", "h:mm am", "12:05 PM", "12:05:00"),
            ("time", "hh:mm:ss", "23:59:59", "23:59:59"),
        ];
        for (kind, pattern, cell, part) in cases {
            let column = column(kind, &json!({"pattern": pattern}));
            let half = Some(part.to_owned());
            let read_as = if kind == "date" { Read::Moment(half, None) } else { Read::Moment(None, half) };
            assert_eq!(read(cell, &column, &layout), Ok(read_as), "{cell}");
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

    /// The counts of spreadsheets (ECMA-376 part 1, 18.17.4.1, from memory): 1 March 1900 is day 61 of the one, and the two are
    /// 1462 days apart.
    #[test]
    fn days_are_counted_as_spreadsheets_count() {
        let layout = layout(",", None);
        let cases = [
            ("date", "serial-1900", "61", Some("1900-03-01"), None),
            ("date", "serial-1900", "46148", Some("2026-05-06"), None),
            ("date", "serial-1904", "44686", Some("2026-05-06"), None),
            ("date", "serial-1904", "0", Some("1904-01-01"), None),
            ("time", "serial-1900", "0,3965277778", None, Some("09:31:00")),
            ("date-time", "serial-1900", "46148,3965277778", Some("2026-05-06"), Some("09:31:00")),
            ("date-time", "serial-1904", "44686,9999884259", Some("2026-05-06"), Some("23:59:59")),
            ("date-time", "m/d/yyyy h:mm am", "5/6/2026 9:31 PM", Some("2026-05-06"), Some("21:31:00")),
            ("date-time", "dd.mm.yyyy hh:mm:ss", "06.05.2026 09:31:07", Some("2026-05-06"), Some("09:31:07")),
        ];
        for (kind, pattern, cell, date, time) in cases {
            let column = column(kind, &json!({"pattern": pattern}));
            let expected = Read::Moment(date.map(str::to_owned), time.map(str::to_owned));
            assert_eq!(read(cell, &column, &layout), Ok(expected), "{kind} {cell}");
            let moment = format!("{}T{}Z", date.unwrap_or("2026-01-01"), time.unwrap_or("00:00:00"));
            assert_eq!(write(&json!(moment), &column, &layout).as_deref(), Some(cell), "{moment}");
        }
        for (kind, cell) in [("date", "60"), ("date", "46148,5"), ("date", "-1"), ("date", "3000000"), ("time", "1,5")]
        {
            assert!(read(cell, &column(kind, &json!({"pattern": "serial-1900"})), &layout).is_err(), "{kind} {cell}");
        }
    }

    /// What a spreadsheet's users do to keep a cell as it is, and how programs write large and small numbers.
    #[test]
    fn numbers_that_are_stored_as_text_are_numbers() {
        let (layout, number) = (layout(",", None), column("number", &json!({})));
        for (cell, value) in [
            ("'12,5", json!(12.5)),
            ("=\"12,5\"", json!(12.5)),
            (" \u{a0}12,5\u{a0}", json!(12.5)),
            ("1,25E+01", json!(12.5)),
            ("1,25e2", json!(125)),
            ("'-3", json!(-3)),
        ] {
            assert_eq!(read(cell, &number, &layout), Ok(Read::Value(value)), "{cell}");
        }
        assert_eq!(read("=\"007\"", &column("text", &json!({})), &layout), Ok(Read::Value(json!("007"))));
        assert!(read("=12", &number, &layout).is_err());
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
