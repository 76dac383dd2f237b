//! Dates and times by the pattern of their column, both ways, and the day numbers of spreadsheets.

use super::moment;

const MONTHS: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// The day before the first in the two day counts of spreadsheets (ECMA-376 part 1, 18.17.4.1, from memory). The older
/// takes 1900 for a leap year, so that its count is a day ahead from March 1900 on; days before are not read.
const fn epoch(pattern: &str) -> Option<(i64, i64)> {
    match pattern.as_bytes() {
        b"serial-1900" => Some((moment::days(1899, 12, 30), 61)),
        b"serial-1904" => Some((moment::days(1904, 1, 1), 0)),
        _ => None,
    }
}

/// The last day that spreadsheets know, 9999-12-31.
const LAST_DAY: i64 = moment::days(9999, 12, 31);

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

/// The pieces, each with the letter of what it stands for: `n` for minutes, which patterns write as months, `t` for text. Three letters
/// for the hours are two and an h that stands in the cell.
fn meant(pattern: &str, is_time: bool) -> Vec<(char, &str)> {
    let mut hours = is_time;
    let mut found = Vec::new();
    for piece in pieces(pattern) {
        let letter = match piece.chars().next().unwrap_or_default() {
            _ if piece == "am" => 'a',
            'h' => {
                hours = true;
                'h'
            }
            'm' if hours && piece.len() < 3 => 'n',
            letter @ ('d' | 'm' | 'y' | 's') => letter,
            _ => 't',
        };
        if piece == "hhh" {
            found.extend([('h', &piece[..2]), ('t', &piece[2..])]);
        } else {
            found.push((letter, piece));
        }
    }
    found
}

/// The numbers of a cell by the letter of their piece; `a` is 0 before noon and 1 after. `None` when the cell has another form.
fn by_pattern(cell: &str, pattern: &str, is_time: bool) -> Option<Vec<(char, u32)>> {
    let mut rest = cell.trim();
    let mut found = Vec::new();
    let pieces = meant(pattern, is_time);
    for (index, (letter, piece)) in pieces.iter().copied().enumerate() {
        match (letter, piece) {
            ('a', _) => {
                let half = rest.get(..2)?.to_ascii_lowercase();
                found.push(('a', ["am", "pm"].iter().position(|word| *word == half)?.try_into().ok()?));
                rest = &rest[2..];
            }
            ('m', "mmm") => {
                let word = rest.get(..3)?;
                let month = MONTHS.iter().position(|month| month.eq_ignore_ascii_case(word))?;
                found.push(('m', u32::try_from(month).ok()? + 1));
                rest = &rest[3..];
            }
            // Systems differ in whether they write the space before am; one of them is not worth a refusal.
            (_, " ") => rest = rest.trim_start(),
            ('t', _) => rest = rest.strip_prefix(piece)?,
            _ => {
                let most = if letter == 'y' { piece.len() } else { 2 };
                // Where digits follow at once, theirs are left to them: in 930 the hour has one.
                let behind: usize = pieces[index + 1..]
                    .iter()
                    .take_while(|(letter, _)| "dmynhs".contains(*letter))
                    .map(|(_, piece)| piece.len())
                    .sum();
                let there = rest.bytes().take_while(u8::is_ascii_digit).count();
                if behind > 0 && there <= behind {
                    return None;
                }
                let most =
                    if letter == 'y' || behind == 0 { most } else { there.saturating_sub(behind).clamp(1, most) };
                let digits = there.min(most);
                if digits == 0 || (letter == 'y' && digits != most) {
                    return None;
                }
                let number: u32 = rest[..digits].parse().ok()?;
                found.push((letter, if piece == "yy" { 2000 + number } else { number }));
                rest = &rest[digits..];
            }
        }
    }
    rest.is_empty().then_some(found)
}

type Found = [(char, u32)];

fn of(found: &Found, letter: char) -> Option<u32> {
    found.iter().find(|(other, _)| *other == letter).map(|(_, number)| *number)
}

fn the_date(found: &Found) -> Option<String> {
    let (year, month, day) = (of(found, 'y')?, of(found, 'm')?, of(found, 'd')?);
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days = match month {
        2 => 28 + u32::from(leap),
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return None,
    };
    (1..=days).contains(&day).then(|| format!("{year:04}-{month:02}-{day:02}"))
}

/// Why a cell that has the form of its pattern is none: that day or that time of day does not exist.
pub(super) fn impossible(cell: &str, pattern: &str, is_time: bool) -> Option<String> {
    let found = by_pattern(cell, pattern, is_time)?;
    if let (Some(year), Some(month), Some(day)) = (of(&found, 'y'), of(&found, 'm'), of(&found, 'd'))
        && the_date(&found).is_none()
    {
        if !(1..=12).contains(&month) {
            return Some(format!("there is no month {month}"));
        }
        let name = MONTHS[month as usize - 1];
        return Some(format!("there is no day {day} in {name} {year}"));
    }
    (of(&found, 'h').is_some() && the_time(&found).is_none()).then(|| "there is no such time of day".to_owned())
}

fn the_time(found: &Found) -> Option<String> {
    let (mut hour, minute, second) = (of(found, 'h')?, of(found, 'n')?, of(found, 's').unwrap_or(0));
    if let Some(half) = of(found, 'a') {
        if !(1..=12).contains(&hour) {
            return None;
        }
        hour = hour % 12 + 12 * half;
    }
    (hour < 24 && minute < 60 && second < 60).then(|| format!("{hour:02}:{minute:02}:{second:02}"))
}

/// Date and time of a day number: the whole days, and the rest to the nearest second.
fn serial(number: f64, pattern: &str) -> Option<(String, String)> {
    let (zero, least) = epoch(pattern)?;
    let seconds = (number * 86_400.0).round();
    if !(0.0..1e13).contains(&seconds) {
        return None;
    }
    #[allow(clippy::cast_possible_truncation)]
    let (day, second) = ((seconds / 86_400.0).floor() as i64, (seconds % 86_400.0) as i64);
    let (year, month, of_month) = moment::date(zero + day);
    let known = (least..=LAST_DAY - zero).contains(&day);
    // A time alone has no days at all.
    let date = if known { format!("{year:04}-{month:02}-{of_month:02}") } else { String::new() };
    (known || day == 0).then(|| (date, format!("{:02}:{:02}:{:02}", second / 3600, second / 60 % 60, second % 60)))
}

/// The date of a cell, `yyyy-mm-dd`. `number` is the cell as a number, for day counts.
pub(super) fn date(cell: &str, number: Option<f64>, pattern: &str) -> Option<String> {
    if epoch(pattern).is_some() {
        let number = number.filter(|number| number.fract() == 0.0)?;
        return serial(number, pattern).map(|(date, _)| date).filter(|date| !date.is_empty());
    }
    the_date(&by_pattern(cell, pattern, false)?)
}

/// The time of a cell, `hh:mm:ss`.
pub(super) fn time(cell: &str, number: Option<f64>, pattern: &str) -> Option<String> {
    if epoch(pattern).is_some() {
        return serial(number.filter(|number| (0.0..1.0).contains(number))?, pattern).map(|(_, time)| time);
    }
    the_time(&by_pattern(cell, pattern, true)?)
}

/// Both of a cell that holds both.
pub(super) fn both(cell: &str, number: Option<f64>, pattern: &str) -> Option<(String, String)> {
    if epoch(pattern).is_some() {
        return serial(number?, pattern).filter(|(date, _)| !date.is_empty());
    }
    let found = by_pattern(cell, pattern, false)?;
    Some((the_date(&found)?, the_time(&found)?))
}

/// A moment, of which the pattern takes what it has pieces for. A day count gives its number instead.
pub(super) enum Written {
    Text(String),
    Number(f64),
}

/// A moment in RFC 3339 in a pattern: its date, its time or both.
pub(super) fn write(value: &str, pattern: &str, (date, time): (bool, bool)) -> Option<Written> {
    let numbers = |part: &str| -> Option<[u32; 3]> {
        let found: Vec<u32> = part.split(['-', ':']).map(str::parse).collect::<Result<_, _>>().ok()?;
        found.try_into().ok()
    };
    let [year, month, day] = numbers(value.get(..10)?)?;
    let [hour, minute, second] = numbers(value.get(11..19)?)?;
    if let Some((zero, _)) = epoch(pattern) {
        let days = moment::days(year.into(), month.into(), day.into()) - zero;
        let of_day = f64::from((hour * 60 + minute) * 60 + second) / 86_400.0;
        // Ten decimals tell a hundredth of a second apart.
        let of_day: f64 = format!("{of_day:.10}").parse().unwrap_or(of_day);
        #[allow(clippy::cast_precision_loss)]
        let days = if date { days as f64 } else { 0.0 };
        let all = days + if time { of_day } else { 0.0 };
        return Some(Written::Number(format!("{all:.10}").parse().unwrap_or(all)));
    }
    let halves = pieces(pattern).contains(&"am");
    let mut text = String::new();
    for (letter, piece) in meant(pattern, time && !date) {
        let number = match letter {
            'a' => {
                text.push_str(if hour < 12 { "AM" } else { "PM" });
                continue;
            }
            'm' if piece == "mmm" => {
                text.push_str(MONTHS.get(usize::try_from(month).ok()?.checked_sub(1)?)?);
                continue;
            }
            'y' if piece == "yy" && !(2000..2100).contains(&year) => return None,
            'y' if piece == "yy" => year - 2000,
            'y' => year,
            'm' => month,
            'd' => day,
            'h' if halves => (hour + 11) % 12 + 1,
            'h' => hour,
            'n' => minute,
            's' => second,
            _ => {
                text.push_str(piece);
                continue;
            }
        };
        text.push_str(&format!("{number:0width$}", width = piece.len()));
    }
    Some(Written::Text(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An h behind the hour is written as a third one, and every other pattern reads what it did.
    #[test]
    fn a_third_h_stands_behind_the_hour() {
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
            assert_eq!(time(cell, None, pattern).as_deref(), is, "{cell} {pattern}");
        }
        let found = both("06/05/2026 09h31", None, "dd/mm/yyyy hhhmm");
        assert_eq!(found, Some(("2026-05-06".to_owned(), "09:31:00".to_owned())));
        for (pattern, parts, cell) in
            [("hhhmm", (false, true), "09h31"), ("dd/mm/yyyy hhhmm", (true, true), "06/05/2026 09h31")]
        {
            let Some(Written::Text(text)) = write("2026-05-06T09:31:07Z", pattern, parts) else { panic!("{pattern}") };
            assert_eq!(text, cell);
        }
    }
}
