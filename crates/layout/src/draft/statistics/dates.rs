//! Dates and times of day among the values of a column.

use super::Sample;
use super::pattern::CellPattern;
use crate::cell::pattern;

/// The pattern for day numbers of a spreadsheet in a layout.
pub(crate) const SERIAL: &str = "serial-1900";

pub(super) const DATES: &[&str] = &[
    "yyyy-mm-dd",
    "dd.mm.yyyy",
    "d.m.yyyy",
    "dd/mm/yyyy",
    "d/m/yyyy",
    "mm/dd/yyyy",
    "m/d/yyyy",
    "dd-mm-yyyy",
    "yyyy/mm/dd",
    "yyyymmdd",
    "dd.mm.yy",
    "d.m.yy",
    "m/d/yy",
    "d/m/yy",
    "dd mmm yyyy",
    "d mmm yyyy",
    "dd-mmm-yyyy",
    "dd-mmm-yy",
    "d-mmm-yyyy",
    "d-mmm-yy",
];
pub(super) const TIMES: &[&str] =
    &["hh:mm:ss", "hh:mm", "h:mm:ss am", "h:mm am", "h:mm:ss", "h:mm", "hhhmm"];

/// Patterns of dates, the more likely ones first if several match.
pub(super) fn in_order(mut patterns: Vec<&'static str>, american: bool) -> Vec<&'static str> {
    patterns.sort_by_key(|pattern| (pattern.starts_with('m') != american) && pattern.contains('/'));
    patterns
}

/// The range of numbers that may be day numbers of a spreadsheet: days from 1982 to 2063, or
/// fractions of a day with more decimals than people type. Other values can be that too, so a
/// heading has to show it.
pub(super) fn day_numbers(numbers: &[f64], decimals: usize) -> Option<CellPattern> {
    if numbers.iter().all(|number| (30_000.0..60_000.0).contains(number)) {
        let are_days = numbers.iter().all(|number| number.fract() == 0.0);
        return Some(if are_days {
            CellPattern::Date(SERIAL)
        } else {
            CellPattern::DateTime(SERIAL.to_owned())
        });
    }
    let are_parts = numbers.iter().all(|number| (0.0..1.0).contains(number));
    (decimals > 2 && are_parts).then_some(CellPattern::Time(SERIAL))
}

/// The first patterns that match all values: of dates, of times of day, and of both.
pub(super) fn patterns(values: &[Sample], american: bool) -> impl Iterator<Item = CellPattern> {
    let date = date(values, american).map(CellPattern::Date);
    let time = time(values).map(CellPattern::Time);
    date.into_iter().chain(time).chain(both(values).map(CellPattern::DateTime))
}

fn date(values: &[Sample], american: bool) -> Option<&'static str> {
    let fits = |pattern: &&'static str| {
        values.iter().all(|(value, _)| pattern::date(value, None, pattern).is_some())
    };
    // Patterns with two digits each match only if all values have two digits.
    let is_padded = |pattern: &&'static str| {
        !(pattern.contains("dd") || pattern.contains("mm") && !pattern.contains("mmm"))
            || values.iter().all(|(value, _)| value.len() == pattern.len())
    };
    let found = DATES.iter().copied().filter(fits).filter(is_padded).collect();
    in_order(found, american).into_iter().next()
}

fn time(values: &[Sample]) -> Option<&'static str> {
    // No pattern has an hour of one digit before an h; the existing one reads it.
    let any_length = |pattern: &str| !pattern.contains("hh") || pattern.contains("hhh");
    let fits = |pattern: &&'static str| {
        values.iter().all(|(value, _)| {
            pattern::time(value, None, pattern).is_some()
                && (any_length(pattern) || value.len() == pattern.len())
        })
    };
    TIMES.iter().copied().find(fits)
}

fn both(values: &[Sample]) -> Option<String> {
    let spaced =
        DATES.iter().flat_map(|date| TIMES.iter().map(move |time| format!("{date} {time}")));
    let mut all = spaced.flat_map(|pattern| [pattern.replacen(' ', "T", 1), pattern]);
    all.find(|pattern| {
        let is_fixed = pattern.contains("dd") && pattern.contains("hh");
        values.iter().all(|(value, _)| {
            pattern::both(value, None, pattern).is_some()
                && (!is_fixed || value.len() == pattern.len())
        })
    })
}

/// Whether the values distinguish day and month of a pattern: one of them is beyond 12.
/// them.
pub(crate) fn are_settled(pattern: &str, values: &[Sample]) -> bool {
    pattern.contains("mmm")
        || pattern.starts_with("yyyy")
        || values.iter().any(|(value, _)| pattern::date(value, None, &swapped(pattern)).is_none())
}

/// A pattern with day and month swapped.
pub(crate) fn swapped(pattern: &str) -> String {
    let swap = |letter| match letter {
        'd' => 'm',
        'm' => 'd',
        other => other,
    };
    pattern.chars().map(swap).collect()
}
