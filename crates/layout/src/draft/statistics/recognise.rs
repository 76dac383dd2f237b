//! Recognises the patterns of values: of single values, and of all values of a column.

use obvert_model::tables::QuantityUnit;

use super::Sample;
use super::dates::{self, DATES, TIMES};
use super::files;
use super::marks::Marks;
use super::pattern::CellPattern;
use super::stretches;
use crate::cell::pattern;
use crate::draft::vocabulary;

/// Possible separators of two hours of a clock.
const BETWEEN_HOURS: &[&str] = &["-", "–", "/", " to ", " bis "];

/// Possible separators of two hours; none for four digits.
fn separators() -> impl Iterator<Item = Option<&'static str>> {
    BETWEEN_HOURS.iter().copied().map(Some).chain([None])
}

/// A number with a decimal point.
pub(super) fn plain(text: &str) -> Option<f64> {
    Marks { decimal: '.', thousands: None }.number(text)
}

pub(super) fn station(text: &str, marks: Marks) -> bool {
    text.split_once('+').is_some_and(|(hundreds, rest)| {
        !hundreds.is_empty()
            && hundreds.bytes().all(|byte| byte.is_ascii_digit())
            && rest.len() >= 2
            && marks.number(rest).is_some_and(|rest| (0.0..100.0).contains(&rest))
    })
}

pub(super) fn feet(text: &str) -> bool {
    text.split_once('\'').is_some_and(|(feet, inches)| {
        plain(feet).is_some()
            && inches
                .trim_start_matches('-')
                .trim()
                .strip_suffix('"')
                .is_some_and(|inches| plain(inches).is_some())
    })
}

fn duration(text: &str) -> bool {
    let parts: Vec<&str> = text.split(':').collect();
    parts.len() == 3 && parts.iter().all(|part| plain(part).is_some()) && parts[1].len() == 2
}

fn minutes(text: &str) -> bool {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    text.split_once(':')
        .is_some_and(|(minutes, seconds)| digits(minutes) && digits(seconds) && seconds.len() == 2)
}

fn is_grade(number: f64) -> bool {
    number.fract() == 0.0 && (0.0..=10.0).contains(&number)
}

fn capitals(text: &str) -> bool {
    text.bytes().all(|byte| byte.is_ascii_uppercase())
}

fn standard_code(text: &str) -> bool {
    text.len() == 3 && capitals(text) && text.starts_with('B')
}

fn single_letter(text: &str) -> bool {
    text.len() == 1 && capitals(text)
}

/// An hour of a clock, including halves; 13 occurs in many tables and is an error that the checker
/// finds.
fn hour(text: &str, marks: Marks) -> bool {
    marks
        .number(text)
        .is_some_and(|hour| (hour * 2.0).fract() == 0.0 && (0.5..=13.0).contains(&hour))
}

/// Two hours with a separator; four digits without one.
fn two_hours(text: &str, separator: Option<&str>, marks: Marks) -> bool {
    let two = match separator {
        Some(separator) => text.split_once(separator),
        None if text.len() == 4 && text.bytes().all(|byte| byte.is_ascii_digit()) => {
            text.split_at_checked(2)
        }
        None => None,
    };
    two.is_some_and(|(from, to)| hour(from, marks) && hour(to, marks))
}

/// The unit after a number, as it is written and its meaning.
fn amount(text: &str, marks: Marks) -> Option<(String, QuantityUnit)> {
    let end = text.find(|letter: char| {
        !(letter.is_ascii_digit()
            || letter == marks.decimal
            || Some(letter) == marks.thousands
            || letter == '-')
    })?;
    let end = text[..end].trim_end().len();
    marks.number(&text[..end])?;
    vocabulary::unit_of(text[end..].trim()).map(|unit| (text[end..].to_owned(), unit))
}

/// Tests whether a value has a pattern.
pub(super) type Test<'v> = Box<dyn Fn(&str) -> bool + 'v>;

/// Patterns of single values, for columns with few exceptions: dates and times in the patterns of
/// the first values.
pub(super) fn tests(values: &[Sample], marks: Marks, american: bool) -> Vec<Test<'_>> {
    let mut found: Vec<Test<'_>> = vec![
        Box::new(move |value| marks.number(value).is_some()),
        Box::new(move |value| station(value, marks)),
        Box::new(feet),
        Box::new(duration),
        Box::new(minutes),
        Box::new(move |value| amount(value, marks).is_some()),
        Box::new(move |value| hour(value, marks)),
        Box::new(move |value| marks.number(value).is_some_and(is_grade)),
        Box::new(files::is_recording),
        Box::new(standard_code),
        Box::new(single_letter),
        Box::new(|value| vocabulary::yes(value).is_some()),
    ];
    for separator in separators() {
        found.push(Box::new(move |value| hour(value, marks) || two_hours(value, separator, marks)));
    }
    found.extend(moment_tests(values, american));
    found.push(stretches::test(values));
    found
}

fn moment_tests(values: &[Sample], american: bool) -> Vec<Test<'static>> {
    let of_first = |test: &Test<'static>| values.iter().take(5).any(|(value, _)| test(value));
    let mut found: Vec<Test<'static>> = Vec::new();
    for date in dates::in_order(DATES.to_vec(), american) {
        found.push(Box::new(move |value| pattern::date(value, None, date).is_some()));
        for both in
            TIMES.iter().flat_map(|time| ["T", " "].map(|between| format!("{date}{between}{time}")))
        {
            found.push(Box::new(move |value| pattern::both(value, None, &both).is_some()));
        }
    }
    for time in TIMES {
        found.push(Box::new(move |value| pattern::time(value, None, time).is_some()));
    }
    found.retain(of_first);
    found
}

/// The patterns that all values have.
pub(super) fn patterns(
    values: &[Sample],
    numbers: &[f64],
    marks: Marks,
    american: bool,
) -> Vec<CellPattern> {
    let all = |is: &dyn Fn(&str) -> bool| values.iter().all(|(value, _)| is(value));
    let mut found = Vec::new();
    if numbers.len() == values.len() {
        found.extend(of_numbers(values, numbers, marks));
    }
    let lengths = [
        (all(&|value| station(value, marks)), CellPattern::Station),
        (all(&feet), CellPattern::FeetAndInches),
        (all(&duration), CellPattern::Duration),
        (all(&minutes), CellPattern::Minutes),
    ];
    found.extend(lengths.into_iter().filter(|(is, _)| *is).map(|(_, pattern)| pattern));
    found.extend(dates::patterns(values, american));
    found.extend(amounts(values, marks));
    found.extend(clock(values, marks));
    found.extend(all(&files::are_pictures).then_some(CellPattern::Picture));
    found.extend(all(&files::is_recording).then_some(CellPattern::Recording));
    found.extend(
        stretches::marks(values).map(|(start, finish)| CellPattern::Stretch(start, finish)),
    );
    found.extend(all(&standard_code).then_some(CellPattern::StandardCode));
    found.extend(all(&single_letter).then_some(CellPattern::SingleLetter));
    found
}

/// The patterns of values that are all numbers.
fn of_numbers(values: &[Sample], numbers: &[f64], marks: Marks) -> Vec<CellPattern> {
    let mut found = vec![CellPattern::Number];
    let decimals = values.iter().map(|(value, _)| marks.decimals(value)).max().unwrap_or(0);
    found.extend(dates::day_numbers(numbers, decimals));
    let kinds = [
        (values.iter().all(|(value, _)| hour(value, marks)), CellPattern::Hour),
        (numbers.iter().all(|number| is_grade(*number)), CellPattern::Grade),
        (
            numbers.iter().all(|number| number.fract() == 0.0 && (1800.0..2100.0).contains(number)),
            CellPattern::Year,
        ),
    ];
    found.extend(kinds.into_iter().filter(|(is, _)| *is).map(|(_, pattern)| pattern));
    found
}

fn amounts(values: &[Sample], marks: Marks) -> Option<CellPattern> {
    let mut units: Vec<(String, QuantityUnit)> = Vec::new();
    for (value, _) in values {
        let unit = amount(value, marks)?;
        if !units.contains(&unit) {
            units.push(unit);
        }
    }
    Some(CellPattern::Amount(units))
}

fn clock(values: &[Sample], marks: Marks) -> Option<CellPattern> {
    let is_between = |separator: &Option<&'static str>| {
        let two = |value: &str| two_hours(value, *separator, marks);
        values.iter().all(|(value, _)| hour(value, marks) || two(value))
            && values.iter().any(|(value, _)| two(value))
    };
    separators().find(is_between).map(CellPattern::Clock)
}
