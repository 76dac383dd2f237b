//! What can as well be something else: numbers whose one mark is a decimal mark or one between thousands, dates of which some have the day
//! first and others the month, and day numbers of a spreadsheet. A draft takes the likelier and says what the other would change.

use super::super::pattern;
use super::fill::Form;
use super::look::Look;
use super::marks::Marks;

/// What can stand between thousands, and before decimals.
const EITHER: [char; 2] = [',', '.'];
/// How the day numbers of a spreadsheet are written in a layout.
pub(super) const SERIAL: &str = "serial-1900";

/// The two parts of a number that has one mark.
fn parts(text: &str, mark: char) -> Option<(&str, &str)> {
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    let (whole, rest) = text.trim().trim_start_matches('-').split_once(mark)?;
    (digits(whole) && digits(rest)).then_some((whole, rest))
}

/// Whether a text is a number by that mark whichever of the two it is: `1,200` is, and `0,200` is none with thousands.
pub(super) fn is_either(text: &str, mark: char) -> bool {
    parts(text, mark).is_some_and(|(whole, rest)| rest.len() == 3 && whole.len() < 4 && !whole.starts_with('0'))
}

/// The mark of numbers of which each can be one with decimals or one with thousands; `None` where some number tells.
pub(super) fn unsettled<'c>(mut values: impl Iterator<Item = &'c str> + Clone) -> Option<char> {
    let tells = |text: &str| {
        let alone = EITHER.iter().any(|mark| parts(text, *mark).is_some() && !is_either(text, *mark));
        let marks = text.matches(EITHER).count();
        // Thousands in several groups, or with decimals behind them.
        let both = marks > 1
            && EITHER.iter().any(|mark| {
                Marks { decimal: *mark, thousands: EITHER.into_iter().find(|other| other != mark) }
                    .number(text.trim())
                    .is_some()
            });
        alone || both
    };
    let found = EITHER.into_iter().find(|mark| values.clone().any(|text| is_either(text, *mark)))?;
    (!values.any(tells)).then_some(found)
}

/// What is to be said of numbers that only have such a mark.
pub(super) fn thousandfold(
    heading: &str,
    look: &Look,
    unsettled: Option<char>,
    (marks, form): (Marks, &Form),
) -> Option<String> {
    let mark = unsettled?;
    let (value, line) = look.distinct.iter().find(|(value, _)| is_either(value, mark))?;
    let plain = value.replace(mark, "");
    let decimal = value.replace(mark, ".");
    let (was, other, how) = if marks.decimal == mark {
        (&decimal, &plain, "give thousands_mark that mark, and decimal_mark another")
    } else {
        (&plain, &decimal, "give decimal_mark that mark, and leave thousands_mark out")
    };
    let key = if let Form::Xml { .. } = form { "xml" } else { "table" };
    Some(format!(
        "{heading:?}: {value:?} on line {line} can be {was} or {other}, and no number in the file tells whether {mark:?} stands before decimals or \
         between thousands; it was taken for {was}, and if it is {other}, {how} in {key}"
    ))
}

/// A pattern with day and month the other way round; `None` where that is no other date.
fn turned(pattern: &str) -> Option<String> {
    let both = ["mmm", "serial"].iter().all(|part| !pattern.contains(part)) && !pattern.starts_with("yyyy");
    let turn = |letter| match letter {
        'd' => 'm',
        'm' => 'd',
        other => other,
    };
    both.then(|| pattern.chars().map(turn).collect())
}

/// What is to be said of dates of which some have the day first and others the month. `whole` are all values of the column, and what was taken
/// need not fit them all.
pub(super) fn mixed(heading: &str, pattern: &str, whole: &Look) -> Option<String> {
    // Of a date with a time of day, the minutes come behind, and count for nothing here.
    let day = pattern.split(['T', ' ']).next().unwrap_or(pattern);
    let other = turned(day)?;
    let part =
        |value: &str, pattern: &str| value.split(['T', ' ']).next().and_then(|day| pattern::date(day, None, pattern));
    let is = |value: &str, pattern: &str| part(value, pattern).is_some();
    let only = |one: &str, other: &str| whole.find_value(|value| is(value, one) && !is(value, other));
    let ((own, own_line), (odd, line)) = (only(day, &other)?, only(&other, day)?);
    let (count, others) = (whole.count_of(|value| is(value, day)), whole.count_of(|value| is(value, &other)));
    let both = whole.find_value(|value| is(value, day) && is(value, &other) && part(value, day) != part(value, &other));
    let both = both.map(|(value, line)| {
        let read = |pattern: &str| part(value, pattern).unwrap_or_default();
        format!("; {value:?} on line {line} is {} by the one and {} by the other", read(day), read(&other))
    });
    Some(format!(
        "{heading:?}: {count} values can be {day} and {others} can be {other}, such as {own:?} on line {own_line} and {odd:?} on line {line}{}; it was taken \
         for {day}, so find out which it is and write all dates that way",
        both.unwrap_or_default()
    ))
}

/// Whether a value is a date by a pattern with day and month the other way round alone.
pub(super) fn is_turned(value: &str, own: &str) -> bool {
    let day = own.split(['T', ' ']).next().unwrap_or(own);
    let is = |pattern: &str| {
        value.split(['T', ' ']).next().is_some_and(|value| pattern::date(value, None, pattern).is_some())
    };
    turned(day).is_some_and(|other| !is(day) && is(&other))
}

/// What is to be said of day numbers.
pub(super) fn counted(heading: &str, look: &Look) -> Option<String> {
    let (value, line) = look.distinct.first()?;
    let number = value.replace(',', ".").parse::<f64>().ok()?.floor();
    let date = pattern::date("", Some(number), SERIAL)?;
    Some(format!(
        "{heading:?}: the values are day numbers of a spreadsheet, by which {value:?} on line {line} is {date}; if that is four years and a day too \
         early, write serial-1904 in pattern"
    ))
}

#[cfg(test)]
mod tests {
    use super::unsettled;

    #[test]
    fn one_number_that_tells_is_enough() {
        for (values, mark) in [
            (&["1,200", "1,050", "950"][..], Some(',')),
            (&["1.200", "2.500", "P1"], Some('.')),
            (&["1,200", "12.5"], None),
            (&["1,200", "0,500"], None),
            (&["1,200", "1,200,300"], None),
            (&["1,200", "1,200.5"], None),
            (&["1.200", "1234.500"], None),
            (&["1.200", "1.5"], None),
            (&["12,5"], None),
            (&["17.03.2026", "a,200"], None),
        ] {
            assert_eq!(unsettled(values.iter().copied()), mark, "{values:?}");
        }
    }
}
