//! What the values of a column look like.

use std::collections::{HashMap, HashSet};

use super::super::pattern;
use super::doubt::SERIAL;
use super::files;
use super::form::Form;
use super::marks::Marks;
use super::words;

/// What is known of the values of a column.
#[derive(Clone, Debug, Default)]
pub(super) struct Look {
    /// How many cells are not blank.
    pub(super) count: usize,
    /// The different values, each with the line on which it first stands, in that order.
    pub(super) distinct: Vec<(String, usize)>,
    /// How often each of them stands.
    times: Vec<usize>,
    pub(super) forms: Vec<Form>,
    /// How many decimals its numbers have at most, where they are numbers.
    pub(super) decimals: usize,
    /// The greatest number.
    pub(super) greatest: f64,
    /// The decimals of every number are as many.
    pub(super) even: bool,
    /// The looks that the column has but for a few values.
    pub(super) near: Vec<Near>,
    /// Whether the numbers rise from row to row for the most part, and begin again near zero where they do not.
    pub(super) rises: bool,
    /// The marks that it was judged by.
    marks: Marks,
}

/// A look that a column has when few values are left out.
#[derive(Clone, Debug)]
pub(super) struct Near {
    pub(super) look: Look,
    /// What was left out, and how often it stands.
    pub(super) odd: Vec<(String, usize)>,
    odd_count: usize,
}

impl Near {
    /// The share of cells that have the look.
    #[allow(clippy::cast_precision_loss)]
    pub(super) fn share(&self) -> f64 {
        self.look.count as f64 / self.all() as f64
    }

    /// How many cells there are, those that were left out included.
    pub(super) const fn all(&self) -> usize {
        self.look.count + self.odd_count
    }
}

const DATES: &[&str] = &[
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
const TIMES: &[&str] = &["hh:mm:ss", "hh:mm", "h:mm:ss am", "h:mm am", "h:mm:ss", "h:mm", "hhhmm"];
/// What can stand between two hours of a clock.
const BETWEEN_HOURS: &[&str] = &["-", "–", "/", " to ", " bis "];

/// A number and the text of the unit behind it.
fn amount(text: &str, marks: Marks) -> Option<(String, &'static str)> {
    let end = text.find(|letter: char| {
        !(letter.is_ascii_digit() || letter == marks.decimal || Some(letter) == marks.thousands || letter == '-')
    })?;
    let end = text[..end].trim_end().len();
    marks.number(&text[..end])?;
    words::unit_of(text[end..].trim()).map(|unit| (text[end..].to_owned(), unit))
}

/// What numbers are if they are the day numbers of a spreadsheet: days from 1982 to 2063, or parts of a day with more decimals than
/// anybody types. Anything else can be that as well, so that a heading has to say it.
fn day_numbers(numbers: &[f64], decimals: usize) -> Option<Form> {
    let all = |is: &dyn Fn(f64) -> bool| numbers.iter().all(|number| is(*number));
    if all(&|number| (30_000.0..60_000.0).contains(&number)) {
        let days = all(&|number| number.fract() == 0.0);
        return Some(if days { Form::Date(SERIAL) } else { Form::DateTime(SERIAL.to_owned()) });
    }
    (decimals > 2 && all(&|number| (0.0..1.0).contains(&number))).then_some(Form::Time(SERIAL))
}

/// A number with a point.
fn plain(text: &str) -> Option<f64> {
    Marks { decimal: '.', thousands: None }.number(text)
}

fn station(text: &str, marks: Marks) -> bool {
    text.split_once('+').is_some_and(|(hundreds, rest)| {
        !hundreds.is_empty()
            && hundreds.bytes().all(|byte| byte.is_ascii_digit())
            && rest.len() >= 2
            && marks.number(rest).is_some_and(|rest| (0.0..100.0).contains(&rest))
    })
}

/// A length with a fraction, or in feet and inches: no count of things.
fn length(text: &str, marks: Marks) -> Option<f64> {
    match text.split_once('\'') {
        Some((whole, inches)) if feet(text) => {
            Some(plain(whole)? + plain(inches.trim_matches(|letter: char| !letter.is_ascii_digit()))? / 12.0)
        }
        _ => marks.number(text).filter(|_| text.contains(marks.decimal)),
    }
}

/// Whether distances rise from row to row, most of them, and are near zero where they begin again.
fn rises(lengths: &[f64]) -> bool {
    let (mut falls, mut strange) = (0, 0);
    let greatest = lengths.iter().copied().fold(0.0, f64::max);
    let least_first = lengths.first().is_some_and(|first| *first <= greatest / 10.0);
    for pair in lengths.windows(2) {
        if pair[1] < pair[0] {
            falls += 1;
            strange += usize::from(pair[1] > greatest / 10.0);
        }
    }
    let ups = lengths.windows(2).filter(|pair| pair[1] > pair[0]).count();
    least_first
        && lengths.len() > 3
        && ups * 2 > lengths.len()
        && falls * 3 < lengths.len()
        && strange * 10 <= lengths.len()
}

fn feet(text: &str) -> bool {
    text.split_once('\'').is_some_and(|(feet, inches)| {
        plain(feet).is_some()
            && inches.trim_start_matches('-').trim().strip_suffix('"').is_some_and(|inches| plain(inches).is_some())
    })
}

fn duration(text: &str) -> bool {
    let parts: Vec<&str> = text.split(':').collect();
    parts.len() == 3 && parts.iter().all(|part| plain(part).is_some()) && parts[1].len() == 2
}

fn minutes(text: &str) -> bool {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    text.split_once(':').is_some_and(|(minutes, seconds)| digits(minutes) && digits(seconds) && seconds.len() == 2)
}

fn is_grade(number: f64) -> bool {
    number.fract() == 0.0 && (0.0..=10.0).contains(&number)
}

fn capitals(text: &str) -> bool {
    text.bytes().all(|byte| byte.is_ascii_uppercase())
}

fn letters3(text: &str) -> bool {
    text.len() == 3 && capitals(text) && text.starts_with('B')
}

/// Two hours with a separator between them; four digits where there is none.
fn two_hours(text: &str, separator: Option<&str>, marks: Marks) -> bool {
    let two = match separator {
        Some(separator) => text.split_once(separator),
        None if text.len() == 4 && text.bytes().all(|byte| byte.is_ascii_digit()) => text.split_at_checked(2),
        None => None,
    };
    two.is_some_and(|(from, to)| hour(from, marks) && hour(to, marks))
}

/// Patterns of dates with those first that are the likelier where several fit.
fn in_order(mut patterns: Vec<&'static str>, american: bool) -> Vec<&'static str> {
    patterns.sort_by_key(|pattern| (pattern.starts_with('m') != american) && pattern.contains('/'));
    patterns
}

type Is<'v> = Box<dyn Fn(&str) -> bool + 'v>;

/// What single values can look like, for columns of which few do not: dates and times in the patterns that the first values have.
fn families(values: &[(String, usize)], marks: Marks, american: bool) -> Vec<Is<'_>> {
    let mut found: Vec<Is<'_>> = vec![
        Box::new(move |value| marks.number(value).is_some()),
        Box::new(move |value| station(value, marks)),
        Box::new(feet),
        Box::new(duration),
        Box::new(minutes),
        Box::new(move |value| amount(value, marks).is_some()),
        Box::new(move |value| hour(value, marks)),
        Box::new(move |value| marks.number(value).is_some_and(is_grade)),
        Box::new(files::is_recording),
        Box::new(letters3),
        Box::new(|value| value.len() == 1 && capitals(value)),
        Box::new(|value| words::yes(value).is_some()),
    ];
    for separator in BETWEEN_HOURS.iter().copied().map(Some).chain([None]) {
        found.push(Box::new(move |value| hour(value, marks) || two_hours(value, separator, marks)));
    }
    let first = || values.iter().take(5).map(|(value, _)| value.as_str());
    for date in in_order(DATES.to_vec(), american) {
        if first().any(|value| pattern::date(value, None, date).is_some()) {
            found.push(Box::new(move |value| pattern::date(value, None, date).is_some()));
        }
        for time in TIMES {
            for between in ["T", " "] {
                let both = format!("{date}{between}{time}");
                if first().any(|value| pattern::both(value, None, &both).is_some()) {
                    found.push(Box::new(move |value| pattern::both(value, None, &both).is_some()));
                }
            }
        }
    }
    for time in TIMES {
        if first().any(|value| pattern::time(value, None, time).is_some()) {
            found.push(Box::new(move |value| pattern::time(value, None, time).is_some()));
        }
    }
    // The two marks of stretches that stand most often.
    let mut marks: Vec<(String, usize)> = Vec::new();
    for mark in values.iter().filter_map(|(value, _)| mark(value)) {
        match marks.iter_mut().find(|(own, _)| *own == mark) {
            Some((_, times)) => *times += 1,
            None => marks.push((mark, 1)),
        }
    }
    marks.sort_by_key(|(_, times)| std::cmp::Reverse(*times));
    marks.truncate(2);
    found.push(Box::new(move |value| mark(value).is_some_and(|own| marks.iter().any(|(mark, _)| *mark == own))));
    found
}

/// An hour of a clock, halves included; 13 stands in many a table and is a mistake that the checker finds.
fn hour(text: &str, marks: Marks) -> bool {
    marks.number(text).is_some_and(|hour| (hour * 2.0).fract() == 0.0 && (0.5..=13.0).contains(&hour))
}

/// What stands around a number, with # for it; `None` where nothing does or another number.
fn mark(value: &str) -> Option<String> {
    let start = value.find(|letter: char| letter.is_ascii_digit())?;
    let end = start + value[start..].find(|letter: char| !letter.is_ascii_digit()).unwrap_or(value.len() - start);
    let mark = format!("{}#{}", &value[..start], &value[end..]);
    (mark != "#" && !mark.contains(|letter: char| letter.is_ascii_digit())).then_some(mark)
}

/// The marks of stretches: two words before or behind a number, of which the one that stands first with a number is the start.
fn stretch(values: &[(String, usize)]) -> Option<(String, String)> {
    let mut marks: Vec<(String, Vec<(&str, usize)>)> = Vec::new();
    for (order, (value, _)) in values.iter().enumerate() {
        let mark = mark(value)?;
        let number = value.trim_matches(|letter: char| !letter.is_ascii_digit());
        match marks.iter_mut().find(|(own, _)| *own == mark) {
            Some((_, numbers)) => numbers.push((number, order)),
            None => marks.push((mark, vec![(number, order)])),
        }
        if marks.len() > 2 {
            return None;
        }
    }
    let [(one, ones), (other, others)] = marks.as_slice() else { return None };
    let before =
        |(number, order): &(&str, usize)| others.iter().find(|(own, _)| own == number).map(|(_, other)| order < other);
    let order: Vec<bool> = ones.iter().filter_map(before).collect();
    let first = order.iter().filter(|first| **first).count();
    let says = |mark: &str, word: &str| words::known(mark).iter().any(|own| own == word);
    let turned = says(one, "finish") || says(other, "start");
    let (start, finish) = if turned || first * 2 < order.len() { (other, one) } else { (one, other) };
    (order.len() * 2 >= others.len().min(ones.len()) && !order.is_empty()).then(|| (start.clone(), finish.clone()))
}

/// Whether day and month of a pattern can be told apart by the values: a day beyond 12 stands in one of them.
pub(super) fn settled(pattern: &str, values: &[(String, usize)]) -> bool {
    let swapped: String = pattern
        .chars()
        .map(|letter| match letter {
            'd' => 'm',
            'm' => 'd',
            other => other,
        })
        .collect();
    pattern.contains("mmm")
        || pattern.starts_with("yyyy")
        || values.iter().any(|(value, _)| pattern::date(value, None, &swapped).is_none())
}

impl Look {
    /// Looks at cells with their lines. `american` says whether months come before days where both would do.
    pub(super) fn of<'c>(cells: impl Iterator<Item = (&'c str, usize)>, marks: Marks, american: bool) -> Self {
        let (mut values, mut known) = (Vec::new(), HashMap::new());
        let mut lengths = Vec::new();
        for (cell, line) in cells {
            let cell = cell.trim();
            lengths.extend(length(cell, marks));
            if cell.is_empty() {
                continue;
            }
            let index = *known.entry(cell).or_insert_with(|| {
                values.push(((cell.to_owned(), line), 0));
                values.len() - 1
            });
            values[index].1 += 1;
        }
        let mut look = Self::judged(values, marks, american);
        look.near = look.nearly(marks, american);
        look.rises = rises(&lengths);
        look
    }

    /// The looks that at least two of three cells have, and that of pictures with one separator where several are in use.
    fn nearly(&self, marks: Marks, american: bool) -> Vec<Near> {
        let mut found: Vec<Near> = Vec::new();
        let mut tried: HashSet<Vec<usize>> = HashSet::new();
        let between = self.between_files();
        let pictures: Is<'_> = Box::new(move |value| files::are_cut(value, between));
        // Where all are pictures, and only what stands between several differs, what most cells have counts, however few they are.
        let alike = self.are_mixed();
        let others = families(&self.distinct, marks, american).into_iter().map(|is| (is, false));
        for (is, any_share) in others.chain([(pictures, alike)]) {
            let fits: Vec<usize> = (0..self.distinct.len()).filter(|index| is(&self.distinct[*index].0)).collect();
            let count: usize = fits.iter().map(|index| self.times[*index]).sum();
            let few = count < 2 || count * 3 < self.count * 2;
            if count == 0 || count == self.count || few && !any_share || !tried.insert(fits.clone()) {
                continue;
            }
            let own = |index: usize| (self.distinct[index].clone(), self.times[index]);
            let odd = (0..self.distinct.len()).filter(|index| fits.binary_search(index).is_err());
            found.push(Near {
                odd: odd.map(|index| self.distinct[index].clone()).collect(),
                odd_count: self.count - count,
                look: Self::judged(fits.iter().map(|index| own(*index)).collect(), marks, american),
            });
        }
        found
    }

    /// The look of values, each with its line and how often it stands.
    fn judged(values: Vec<((String, usize), usize)>, marks: Marks, american: bool) -> Self {
        let count = values.iter().map(|(_, times)| times).sum();
        let mut look = Self { even: true, count, marks, ..Self::default() };
        (look.distinct, look.times) = values.into_iter().unzip();
        let values = &look.distinct;
        if values.is_empty() {
            return look;
        }
        let all = |is: &dyn Fn(&str) -> bool| values.iter().all(|(value, _)| is(value));
        let mut forms = Vec::new();
        let numbers: Vec<f64> = values.iter().filter_map(|(value, _)| marks.number(value)).collect();
        if numbers.len() == values.len() {
            forms.push(Form::Number);
            look.greatest = numbers.iter().copied().fold(f64::MIN, f64::max);
            let decimals =
                values.iter().map(|(value, _)| value.split_once(marks.decimal).map_or(0, |(_, rest)| rest.len()));
            let decimals: Vec<usize> = decimals.collect();
            look.decimals = decimals.iter().copied().max().unwrap_or(0);
            look.even = decimals.iter().all(|one| *one == look.decimals);
            forms.extend(day_numbers(&numbers, look.decimals));
            if all(&|value| hour(value, marks)) {
                forms.push(Form::Hour);
            }
            if numbers.iter().all(|number| is_grade(*number)) {
                forms.push(Form::Grade);
            }
            if numbers.iter().all(|number| number.fract() == 0.0 && (1800.0..2100.0).contains(number)) {
                forms.push(Form::Year);
            }
        }
        if all(&|value| station(value, marks)) {
            forms.push(Form::Station);
        }
        if all(&feet) {
            forms.push(Form::FeetAndInches);
        }
        if all(&duration) {
            forms.push(Form::Duration);
        }
        if all(&minutes) {
            forms.push(Form::Minutes);
        }
        let fits = |pattern: &str| all(&|value| pattern::date(value, None, pattern).is_some());
        let mut dates: Vec<&'static str> = DATES.iter().copied().filter(|pattern| fits(pattern)).collect();
        // Patterns with two digits each come first and fit only where all are written so.
        let padded = |pattern: &&'static str| {
            !(pattern.contains("dd") || pattern.contains("mm") && !pattern.contains("mmm"))
                || values.iter().all(|(value, _)| value.len() == pattern.len())
        };
        dates.retain(padded);
        dates = in_order(dates, american);
        forms.extend(dates.first().map(|pattern| Form::Date(pattern)));
        let time = |pattern: &str, value: &str| pattern::time(value, None, pattern).is_some();
        // No pattern has an hour of one digit before an h; it is read by the one that there is.
        let any_length = |pattern: &str| !pattern.contains("hh") || pattern.contains("hhh");
        let fits = |pattern: &&&'static str| {
            all(&|value| time(pattern, value))
                && (any_length(pattern) || values.iter().all(|(value, _)| value.len() == pattern.len()))
        };
        forms.extend(TIMES.iter().find(fits).map(|pattern| Form::Time(pattern)));
        let both = DATES.iter().flat_map(|date| TIMES.iter().map(move |time| format!("{date} {time}")));
        let both = both.flat_map(|pattern| [pattern.replacen(' ', "T", 1), pattern]);
        let whole = |pattern: &String| {
            let fixed = pattern.contains("dd") && pattern.contains("hh");
            all(&|value| pattern::both(value, None, pattern).is_some() && (!fixed || value.len() == pattern.len()))
        };
        forms.extend(both.into_iter().find(whole).map(Form::DateTime));
        let amounts: Vec<(String, &'static str)> =
            values.iter().filter_map(|(value, _)| amount(value, marks)).collect();
        if amounts.len() == values.len() {
            let mut units: Vec<(String, &'static str)> = Vec::new();
            amounts.into_iter().for_each(|unit| {
                if !units.contains(&unit) {
                    units.push(unit)
                }
            });
            forms.push(Form::Amount(units));
        }
        for separator in BETWEEN_HOURS.iter().copied().map(Some).chain([None]) {
            let two = |value: &str| two_hours(value, separator, marks);
            if all(&|value| hour(value, marks) || two(value)) && values.iter().any(|(value, _)| two(value)) {
                forms.push(Form::Clock(separator));
                break;
            }
        }
        if all(&files::are_pictures) {
            forms.push(Form::Picture);
        }
        if all(&files::is_recording) {
            forms.push(Form::Recording);
        }
        if let Some((start, finish)) = stretch(values) {
            forms.push(Form::Stretch(start, finish));
        }
        if all(&letters3) {
            forms.push(Form::Letters3);
        }
        if all(&|value| value.len() == 1 && capitals(value)) {
            forms.push(Form::Letters1);
        }
        look.forms = forms;
        look
    }

    /// The look that one of its values has alone.
    pub(super) fn alone(&self, value: &str, line: usize) -> Self {
        Self::judged(vec![((value.to_owned(), line), 1)], self.marks, false)
    }

    /// What stands between several files, where cells name several.
    pub(super) fn between_files(&self) -> Option<&'static str> {
        files::between(&self.distinct, &self.times)
    }

    /// Whether the values are pictures that no one separator cuts all right.
    pub(super) fn are_mixed(&self) -> bool {
        if !self.has(&Form::Picture) {
            return false;
        }
        let between = self.between_files();
        self.distinct.iter().any(|(value, _)| !files::are_cut(value, between))
    }

    /// The first value that is so, with its line.
    pub(super) fn find_value(&self, is: impl Fn(&str) -> bool) -> Option<(&str, usize)> {
        self.distinct.iter().find(|(value, _)| is(value)).map(|(value, line)| (value.as_str(), *line))
    }

    /// How many cells have a value that is so.
    pub(super) fn count_of(&self, is: impl Fn(&str) -> bool) -> usize {
        self.distinct.iter().zip(&self.times).filter(|((value, _), _)| is(value)).map(|(_, times)| times).sum()
    }

    pub(super) fn has(&self, form: &Form) -> bool {
        self.forms.contains(form)
    }

    pub(super) fn find<T>(&self, of: impl Fn(&Form) -> Option<T>) -> Option<T> {
        self.forms.iter().find_map(of)
    }
}
