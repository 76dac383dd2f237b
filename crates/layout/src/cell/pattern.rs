//! Dates and times of day in the pattern of their column, both ways, and the day numbers of
//! spreadsheets.

use jiff::SignedDuration;
use jiff::civil::{Date, Time};

const MONTHS: [&str; 12] =
    ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

const DAY: f64 = 86_400.0;

/// The kind of a pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Parts {
    Date,
    Time,
    Both,
}

/// Day 0 and the first valid day of the two date systems of spreadsheets (ECMA-376 part 1,
/// 18.17.4.1, from memory). The older one treats 1900 as a leap year, so it is one day ahead from
/// March 1900 on; earlier days are not read.
fn epoch(pattern: &str) -> Option<(Date, i64)> {
    match pattern {
        "serial-1900" => Some((Date::constant(1899, 12, 30), 61)),
        "serial-1904" => Some((Date::constant(1904, 1, 1), 0)),
        _ => None,
    }
}

/// A piece of a pattern, as text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Piece {
    Day,
    Month,
    MonthName,
    Year,
    Hour,
    Minute,
    Second,
    /// AM or PM.
    Half,
    Literal,
}

impl Piece {
    /// Whether it is part of a date or time, not literal text.
    const fn is_counted(self) -> bool {
        !matches!(self, Self::Half | Self::Literal)
    }
}

/// The runs of one letter in a pattern, and every other character by itself.
fn letters(pattern: &str) -> Vec<&str> {
    let mut found = Vec::new();
    let mut rest = pattern;
    while let Some(first) = rest.chars().next() {
        let end = if rest.starts_with("am") {
            2
        } else if "dmyhs".contains(first) {
            rest.find(|letter| letter != first).unwrap_or(rest.len())
        } else {
            first.len_utf8()
        };
        found.push(&rest[..end]);
        rest = &rest[end..];
    }
    found
}

/// The pieces of a pattern. After an hour, `m` is a minute; in `hhh`, the third h is a literal.
fn pieces(pattern: &str, parts: Parts) -> Vec<(Piece, &str)> {
    let mut hours = parts == Parts::Time;
    let mut found = Vec::new();
    for text in letters(pattern) {
        let piece = match text.chars().next().unwrap_or_default() {
            _ if text == "am" => Piece::Half,
            'h' => Piece::Hour,
            'm' if hours && text.len() < 3 => Piece::Minute,
            'm' if text == "mmm" => Piece::MonthName,
            'm' => Piece::Month,
            'd' => Piece::Day,
            'y' => Piece::Year,
            's' => Piece::Second,
            _ => Piece::Literal,
        };
        hours |= piece == Piece::Hour;
        if text == "hhh" {
            found.extend([(Piece::Hour, &text[..2]), (Piece::Literal, &text[2..])]);
        } else {
            found.push((piece, text));
        }
    }
    found
}

/// The numbers in a cell, before they are combined to a date or a time.
#[derive(Clone, Copy, Debug, Default)]
struct Numbers {
    year: Option<u32>,
    month: Option<u32>,
    day: Option<u32>,
    hour: Option<u32>,
    minute: Option<u32>,
    second: Option<u32>,
    /// 0 before noon, 1 after.
    half: Option<u32>,
}

impl Numbers {
    /// If a piece is repeated, the first counts.
    fn set(&mut self, piece: Piece, number: u32) {
        let place = match piece {
            Piece::Year => &mut self.year,
            Piece::Month | Piece::MonthName => &mut self.month,
            Piece::Day => &mut self.day,
            Piece::Hour => &mut self.hour,
            Piece::Minute => &mut self.minute,
            Piece::Second => &mut self.second,
            Piece::Half => &mut self.half,
            Piece::Literal => return,
        };
        place.get_or_insert(number);
    }

    fn date(&self) -> Option<Date> {
        let year = i16::try_from(self.year?).ok()?;
        Date::new(year, i8::try_from(self.month?).ok()?, i8::try_from(self.day?).ok()?).ok()
    }

    fn time(&self) -> Option<Time> {
        let mut hour = self.hour?;
        if let Some(half) = self.half {
            if !(1..=12).contains(&hour) {
                return None;
            }
            hour = hour % 12 + 12 * half;
        }
        let part = |number: u32| i8::try_from(number).ok();
        Time::new(part(hour)?, part(self.minute?)?, part(self.second.unwrap_or(0))?, 0).ok()
    }
}

/// The numbers of a cell; `None` if it does not match the pattern.
fn by_pattern(cell: &str, pattern: &str, parts: Parts) -> Option<Numbers> {
    let mut rest = cell.trim();
    let mut found = Numbers::default();
    let pieces = pieces(pattern, parts);
    for (index, (piece, text)) in pieces.iter().copied().enumerate() {
        match piece {
            // Systems differ in whether they write a space before am, so a missing one is accepted.
            Piece::Literal if text == " " => rest = rest.trim_start(),
            Piece::Literal => rest = rest.strip_prefix(text)?,
            Piece::Half => found.set(piece, word(&mut rest, &["am", "pm"])?),
            Piece::MonthName => found.set(piece, word(&mut rest, &MONTHS)? + 1),
            _ => {
                // Digits of the following piece are left to it: in 930 the hour has one digit.
                let behind = pieces[index + 1..].iter().take_while(|(piece, _)| piece.is_counted());
                let number =
                    digits(&mut rest, piece, text, behind.map(|(_, text)| text.len()).sum())?;
                found.set(piece, if text == "yy" { 2000 + number } else { number });
            }
        }
    }
    rest.is_empty().then_some(found)
}

/// Removes one of several words from the start of a text, case-insensitively, and returns its
/// index.
fn word(rest: &mut &str, words: &[&str]) -> Option<u32> {
    let length = words.first()?.len();
    let own = rest.get(..length)?;
    let place = words.iter().position(|word| word.eq_ignore_ascii_case(own))?;
    *rest = &rest[length..];
    u32::try_from(place).ok()
}

/// Removes the digits of a piece from the start of a text, but leaves `later` digits.
fn digits(rest: &mut &str, piece: Piece, text: &str, behind: usize) -> Option<u32> {
    let is_year = piece == Piece::Year;
    let there = rest.bytes().take_while(u8::is_ascii_digit).count();
    if behind > 0 && there <= behind {
        return None;
    }
    let most = match (is_year, behind) {
        (true, _) => text.len(),
        (false, 0) => 2,
        (false, behind) => there.saturating_sub(behind).clamp(1, 2),
    };
    let count = there.min(most);
    if count == 0 || is_year && count != most {
        return None;
    }
    let number = rest[..count].parse().ok()?;
    *rest = &rest[count..];
    Some(number)
}

/// Why a cell that matches its pattern is not a valid date or time: that day or time does not
/// exist.
pub(super) fn impossible(cell: &str, pattern: &str, parts: Parts) -> Option<String> {
    let found = by_pattern(cell, pattern, parts)?;
    if let (Some(year), Some(month), Some(day)) = (found.year, found.month, found.day)
        && found.date().is_none()
    {
        return Some(match (month as usize).checked_sub(1).and_then(|month| MONTHS.get(month)) {
            Some(name) => format!("there is no day {day} in {name} {year}"),
            None => format!("there is no month {month}"),
        });
    }
    (found.hour.is_some() && found.time().is_none())
        .then(|| "this time of day does not exist".to_owned())
}

/// Date and time of a day number: the whole days, and the rest to the nearest second. A time
/// without a date has no days.
fn serial(number: f64, pattern: &str) -> Option<(Option<Date>, Time)> {
    let (zero, first) = epoch(pattern)?;
    let seconds = (number * DAY).round();
    if !(0.0..1e13).contains(&seconds) {
        return None;
    }
    #[allow(clippy::cast_possible_truncation)]
    let (day, second) = ((seconds / DAY).floor() as i64, (seconds % DAY) as i64);
    let date =
        zero.checked_add(SignedDuration::from_secs(day * 86_400)).ok().filter(|_| day >= first);
    let time = Time::midnight().checked_add(SignedDuration::from_secs(second)).ok()?;
    (date.is_some() || day == 0).then_some((date, time))
}

/// The date in a cell. `number` is the cell as a number, for day numbers.
pub(crate) fn date(cell: &str, number: Option<f64>, pattern: &str) -> Option<Date> {
    if epoch(pattern).is_some() {
        return serial(number.filter(|number| number.fract() == 0.0)?, pattern)?.0;
    }
    by_pattern(cell, pattern, Parts::Date)?.date()
}

/// The time of day in a cell.
pub(crate) fn time(cell: &str, number: Option<f64>, pattern: &str) -> Option<Time> {
    if epoch(pattern).is_some() {
        return serial(number.filter(|number| (0.0..1.0).contains(number))?, pattern)
            .map(|(_, time)| time);
    }
    by_pattern(cell, pattern, Parts::Time)?.time()
}

/// The date and the time in a cell that has both.
pub(crate) fn both(cell: &str, number: Option<f64>, pattern: &str) -> Option<(Date, Time)> {
    if epoch(pattern).is_some() {
        let (date, time) = serial(number?, pattern)?;
        return Some((date?, time));
    }
    let found = by_pattern(cell, pattern, Parts::Both)?;
    Some((found.date()?, found.time()?))
}

/// A timestamp as a cell: a text, or a day number.
pub(super) enum Written {
    Text(String),
    Number(f64),
}

/// The parts of an RFC 3339 timestamp, in a pattern.
pub(super) fn write(value: &str, pattern: &str, parts: Parts) -> Option<Written> {
    if let Some((zero, _)) = epoch(pattern) {
        return day_number(value, zero, parts).map(Written::Number);
    }
    let numbers = |part: &str| -> Option<[u32; 3]> {
        let found: Vec<u32> =
            part.split(['-', ':']).map(str::parse).collect::<Result<_, _>>().ok()?;
        found.try_into().ok()
    };
    let [year, month, day] = numbers(value.get(..10)?)?;
    let [hour, minute, second] = numbers(value.get(11..19)?)?;
    let halves = letters(pattern).contains(&"am");
    let mut text = String::new();
    for (piece, own) in pieces(pattern, parts) {
        let number = match piece {
            Piece::Literal => {
                text.push_str(own);
                continue;
            }
            Piece::Half => {
                text.push_str(if hour < 12 { "AM" } else { "PM" });
                continue;
            }
            Piece::MonthName => {
                text.push_str(MONTHS.get(usize::try_from(month).ok()?.checked_sub(1)?)?);
                continue;
            }
            Piece::Year if own == "yy" => year.checked_sub(2000).filter(|year| *year < 100)?,
            Piece::Year => year,
            Piece::Month => month,
            Piece::Day => day,
            Piece::Hour if halves => (hour + 11) % 12 + 1,
            Piece::Hour => hour,
            Piece::Minute => minute,
            Piece::Second => second,
        };
        text.push_str(&format!("{number:0width$}", width = own.len()));
    }
    Some(Written::Text(text))
}

/// A timestamp as a day number, counted from day 0.
fn day_number(value: &str, zero: Date, parts: Parts) -> Option<f64> {
    let (date, time): (Date, Time) =
        (value.get(..10)?.parse().ok()?, value.get(11..19)?.parse().ok()?);
    // Ten decimals resolve a hundredth of a second.
    let rounded = |days: f64| format!("{days:.10}").parse().unwrap_or(days);
    let of_day = rounded(time.duration_since(Time::midnight()).as_secs_f64() / DAY);
    let days = date.duration_since(zero).as_secs_f64() / DAY;
    Some(match parts {
        Parts::Date => days,
        Parts::Time => of_day,
        Parts::Both => rounded(days + of_day),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A literal h after the hour is written as a third h; all other patterns read what they write.
    #[test]
    fn a_third_h_is_a_literal_after_the_hour() {
        for (cell, pattern, is) in [
            ("08h15", "hhhmm", Some("08:15:00")),
            ("8h15", "hhhmm", Some("08:15:00")),
            ("23h59:07", "hhhmm:ss", Some("23:59:07")),
            ("0815", "hhhmm", None),
            ("08h60", "hhhmm", None),
            ("08h", "hhhmm", None),
            ("08h15", "hhmm", None),
            ("0815", "hhmm", Some("08:15:00")),
            ("815", "hmm", Some("08:15:00")),
            ("930", "hhmm", Some("09:30:00")),
            ("1405", "hmm", Some("14:05:00")),
            ("93045", "hmmss", Some("09:30:45")),
            ("93", "hmm", None),
            ("9305", "hmmss", None),
            ("8:15", "h:mm", Some("08:15:00")),
        ] {
            assert_eq!(
                time(cell, None, pattern).map(|time| time.to_string()).as_deref(),
                is,
                "{cell} {pattern}"
            );
        }
        let found = both("06/05/2026 09h31", None, "dd/mm/yyyy hhhmm");
        assert_eq!(found, Some((Date::constant(2026, 5, 6), Time::constant(9, 31, 0, 0))));
        for (pattern, parts, cell) in
            [("hhhmm", Parts::Time, "09h31"), ("dd/mm/yyyy hhhmm", Parts::Both, "06/05/2026 09h31")]
        {
            let Some(Written::Text(text)) = write("2026-05-06T09:31:07Z", pattern, parts) else {
                panic!("{pattern}")
            };
            assert_eq!(text, cell);
        }
    }
}
