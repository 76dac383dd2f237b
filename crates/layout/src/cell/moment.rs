//! Dates and times of day in the pattern of their column, and timestamps at another offset from
//! UTC.

use jiff::SignedDuration;
use jiff::fmt::temporal::Pieces;

use super::pattern::{self, Parts, Written};
use super::{CellFormat, CellValue, Kind};

/// A date.
pub(super) struct DateOnly;
/// A time of day.
pub(super) struct TimeOnly;
/// A date and a time of day.
pub(super) struct DateAndTime;

impl Kind for DateOnly {
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue> {
        let date = pattern::date(cell, format.marks.number(cell), format.pattern())?;
        Some(CellValue::Moment(Some(date), None))
    }

    fn write(&self, value: &CellValue, format: &CellFormat<'_>) -> Option<String> {
        write(value, format, Parts::Date)
    }

    fn expected(&self, format: &CellFormat<'_>) -> String {
        expected(format, "a date")
    }

    fn impossible(&self, cell: &str, format: &CellFormat<'_>) -> Option<String> {
        pattern::impossible(cell, format.pattern(), Parts::Date)
    }
}

impl Kind for TimeOnly {
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue> {
        let time = pattern::time(cell, format.marks.number(cell), format.pattern())?;
        Some(CellValue::Moment(None, Some(time)))
    }

    fn write(&self, value: &CellValue, format: &CellFormat<'_>) -> Option<String> {
        write(value, format, Parts::Time)
    }

    fn expected(&self, format: &CellFormat<'_>) -> String {
        expected(format, "a time")
    }

    fn impossible(&self, cell: &str, format: &CellFormat<'_>) -> Option<String> {
        pattern::impossible(cell, format.pattern(), Parts::Time)
    }
}

impl Kind for DateAndTime {
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue> {
        let (date, time) = pattern::both(cell, format.marks.number(cell), format.pattern())?;
        Some(CellValue::Moment(Some(date), Some(time)))
    }

    fn write(&self, value: &CellValue, format: &CellFormat<'_>) -> Option<String> {
        write(value, format, Parts::Both)
    }

    fn expected(&self, format: &CellFormat<'_>) -> String {
        expected(format, "a date and time")
    }

    fn impossible(&self, cell: &str, format: &CellFormat<'_>) -> Option<String> {
        pattern::impossible(cell, format.pattern(), Parts::Both)
    }
}

fn write(value: &CellValue, format: &CellFormat<'_>, parts: Parts) -> Option<String> {
    Some(match pattern::write(value.text()?, format.pattern(), parts)? {
        Written::Text(text) => text,
        Written::Number(number) => format.marks.write(number, None),
    })
}

fn expected(format: &CellFormat<'_>, what: &str) -> String {
    let pattern = format.pattern();
    if pattern.starts_with("serial") {
        return format!("a day number of a spreadsheet ({pattern})");
    }
    format!("{what} as {pattern}")
}

/// An RFC 3339 timestamp at another offset: a table without offsets has times of one offset only.
/// Seconds and their fractions are kept.
pub(crate) fn in_zone(moment: &str, zone: &str) -> Option<String> {
    let seconds =
        |pieces: &Pieces<'_>| pieces.to_numeric_offset().map(|offset| i64::from(offset.seconds()));
    let own = Pieces::parse(moment).ok()?;
    let of_day = format!("2000-01-01T00:00{zone}");
    let shift = seconds(&Pieces::parse(&of_day).ok()?)? - seconds(&own)?;
    let clock =
        own.date().to_datetime(own.time()?).checked_add(SignedDuration::from_secs(shift)).ok()?;
    let behind = moment.get(16..)?;
    let end =
        behind.find(|letter: char| !(letter.is_ascii_digit() || matches!(letter, ':' | '.')))?;
    Some(format!(
        "{}T{:02}:{:02}{}{zone}",
        clock.date(),
        clock.hour(),
        clock.minute(),
        &behind[..end]
    ))
}

#[cfg(test)]
mod tests {
    use super::in_zone;

    /// RFC 3339 section 5.8: the first two examples name one moment at two offsets, and so do the
    /// Dutch noon and its UTC.
    #[test]
    fn moments_are_those_of_rfc_3339() {
        assert_eq!(in_zone("1996-12-19T16:39:57-08:00", "Z").unwrap(), "1996-12-20T00:39:57Z");
        assert_eq!(
            in_zone("1985-04-12T23:20:50.52Z", "+01:00").unwrap(),
            "1985-04-13T00:20:50.52+01:00"
        );
        assert_eq!(in_zone("1990-12-31T15:59:60-08:00", "Z").unwrap(), "1990-12-31T23:59:60Z");
        assert_eq!(in_zone("2028-03-01T00:30:00+01:00", "Z").unwrap(), "2028-02-29T23:30:00Z");
        assert_eq!(in_zone("2026-01-01T00:00:00Z", "-05:00").unwrap(), "2025-12-31T19:00:00-05:00");
        assert_eq!(in_zone("2026-02-30T00:00:00Z", "-05:00"), None);
        assert_eq!(in_zone("not a moment", "Z"), None);
    }
}
