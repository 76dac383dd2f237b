//! Ambiguous values: numbers with one separator that may be a decimal or a thousands separator,
//! dates of which some have the day first and others the month, and day numbers of a spreadsheet. A
//! draft chooses the more likely reading and reports what the other would change.

use jiff::civil::Date;

use super::super::analysis::{Analysis, FileKind};
use super::super::statistics::ColumnStatistics;
use super::super::statistics::dates::{SERIAL, swapped};
use super::super::statistics::marks::is_either;
use crate::cell::pattern;

/// The message for numbers of a column that have such a separator only.
pub(super) fn thousandfold(analysis: &Analysis<'_>, index: usize) -> Option<String> {
    let (heading, statistics) = (&analysis.columns[index].heading, analysis.statistics(index));
    let mark = analysis.unsettled?;
    let (value, line) = statistics.find_value(|value| is_either(value, mark))?;
    let plain = value.replace(mark, "");
    let decimal = value.replace(mark, ".");
    let (was, other, how) = if analysis.marks.decimal == mark {
        (&decimal, &plain, "set thousands_mark to it, and decimal_mark to another")
    } else {
        (&plain, &decimal, "set decimal_mark to it, and leave thousands_mark out")
    };
    let key = if let FileKind::Xml { .. } = analysis.form { "xml" } else { "table" };
    Some(format!(
        "{heading:?}: {value:?} on line {line} can be {was} or {other}, and no number in the file shows whether {mark:?} is the decimal mark or the \
         one between thousands; it was read as {was}; if it is {other}, {how} in {key}"
    ))
}

/// A pattern with day and month swapped; `None` if that is not another date.
fn other_order(pattern: &str) -> Option<String> {
    let is_either =
        !pattern.contains("mmm") && !pattern.contains("serial") && !pattern.starts_with("yyyy");
    is_either.then(|| swapped(pattern))
}

/// The date in a value. In a date with a time of day the minutes come later, and are ignored here.
fn date(value: &str, pattern: &str) -> Option<Date> {
    pattern::date(day(value), None, pattern)
}

fn day(text: &str) -> &str {
    text.split(['T', ' ']).next().unwrap_or(text)
}

/// The message for dates of which some have the day first and others the month. `all` are all
/// values of the column, which need not all match the chosen pattern.
pub(super) fn mixed(heading: &str, pattern: &str, all: &ColumnStatistics) -> Option<String> {
    let own = day(pattern);
    let other = other_order(own)?;
    let is = |value: &str, pattern: &str| date(value, pattern).is_some();
    let (first, first_line) = all.find_value(|value| is(value, own) && !is(value, &other))?;
    let (odd, line) = all.find_value(|value| is(value, &other) && !is(value, own))?;
    let (count, others) =
        (all.count_of(|value| is(value, own)), all.count_of(|value| is(value, &other)));
    let both = all.find_value(|value| {
        date(value, own).zip(date(value, &other)).is_some_and(|(one, two)| one != two)
    });
    let both = both.and_then(|(value, line)| {
        let (one, two) = (date(value, own)?, date(value, &other)?);
        Some(format!("; {value:?} on line {line} is {one} by the one and {two} by the other"))
    });
    Some(format!(
        "{heading:?}: {count} values can be {own} and {others} can be {other}, such as {first:?} on line {first_line} and {odd:?} on line {line}{}; they were \
         read as {own}; find out which it is, and write all dates that way",
        both.unwrap_or_default()
    ))
}

/// Whether a value is a date only in a pattern with day and month swapped.
pub(super) fn is_swapped(value: &str, own: &str) -> bool {
    let own = day(own);
    other_order(own)
        .is_some_and(|other| date(value, own).is_none() && date(value, &other).is_some())
}

/// The message for day numbers.
pub(super) fn counted(heading: &str, statistics: &ColumnStatistics) -> Option<String> {
    let (value, line) = statistics.distinct.first()?;
    let number = value.replace(',', ".").parse::<f64>().ok()?.floor();
    let date = pattern::date("", Some(number), SERIAL)?;
    Some(format!(
        "{heading:?}: the values are day numbers of a spreadsheet, by which {value:?} on line {line} is {date}; if that is four years and a day too \
         early, write serial-1904 in pattern"
    ))
}
