//! What the values of a column look like.

use std::collections::HashSet;

use super::super::pattern;

/// A form that all values of a column have, or nearly all.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Form {
    Number,
    Station,
    FeetAndInches,
    Duration,
    /// Minutes and seconds.
    Minutes,
    Date(&'static str),
    Time(&'static str),
    DateTime(String),
    Amount(Vec<(String, &'static str)>),
    Clock(String),
    Hour,
    /// Whole numbers of a scale of grades.
    Grade,
    Year,
    Picture,
    Recording,
    /// What marks the start and the end of a stretch, with # for the number.
    Stretch(String, String),
    /// Codes of EN 13508-2: a letter for the family and two more.
    Letters3,
    /// Single letters.
    Letters1,
}

/// What is known of the values of a column.
#[derive(Clone, Debug, Default)]
pub(super) struct Look {
    /// How many cells are not blank.
    pub(super) count: usize,
    /// The different values, each with the line on which it first stands, in that order.
    pub(super) distinct: Vec<(String, usize)>,
    pub(super) forms: Vec<Form>,
    /// How many decimals its numbers have at most, where they are numbers.
    pub(super) decimals: usize,
    /// The greatest number.
    pub(super) greatest: f64,
    /// The decimals of every number are as many.
    pub(super) even: bool,
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
    "d mmm yyyy",
    "d-mmm-yyyy",
    "d-mmm-yy",
];
const TIMES: &[&str] = &["hh:mm:ss", "hh:mm", "h:mm:ss am", "h:mm am", "h:mm:ss", "h:mm"];
const PICTURES: &[&str] = &["jpg", "jpeg", "png", "bmp", "tif", "tiff", "gif", "webp", "heic"];
const RECORDINGS: &[&str] = &["mp4", "mpg", "mpeg", "avi", "mov", "wmv", "mkv", "m4v", "webm", "ts", "vob"];
const CELL_UNITS: &[(&str, &str)] = &[
    ("mm", "mm"),
    ("in", "in"),
    ("\"", "in"),
    ("inch", "in"),
    ("m", "m"),
    ("ft", "ft"),
    ("'", "ft"),
    ("%", "percent"),
    ("°", "degrees"),
    ("deg", "degrees"),
    ("l/s", "litres-per-second"),
];

pub(super) fn number(text: &str, decimal: char) -> Option<f64> {
    let plain = if decimal == '.' {
        text.to_owned()
    } else if text.contains('.') {
        return None;
    } else {
        text.replacen(decimal, ".", 1)
    };
    let only = plain.bytes().all(|byte| byte.is_ascii_digit() || b".-+eE".contains(&byte));
    plain.parse::<f64>().ok().filter(|number| only && number.is_finite())
}

/// A number and the text of the unit behind it.
fn amount(text: &str, decimal: char) -> Option<(String, &'static str)> {
    let end = text.find(|letter: char| !(letter.is_ascii_digit() || letter == decimal || letter == '-'))?;
    number(&text[..end], decimal)?;
    let unit = text[end..].trim();
    CELL_UNITS.iter().find(|(word, _)| *word == unit).map(|(_, unit)| (text[end..].to_owned(), *unit))
}

fn station(text: &str, decimal: char) -> bool {
    text.split_once('+').is_some_and(|(hundreds, rest)| {
        !hundreds.is_empty()
            && hundreds.bytes().all(|byte| byte.is_ascii_digit())
            && rest.len() >= 2
            && number(rest, decimal).is_some_and(|rest| (0.0..100.0).contains(&rest))
    })
}

fn feet(text: &str) -> bool {
    text.split_once('\'').is_some_and(|(feet, inches)| {
        number(feet, '.').is_some()
            && inches
                .trim_start_matches('-')
                .trim()
                .strip_suffix('"')
                .is_some_and(|inches| number(inches, '.').is_some())
    })
}

fn duration(text: &str) -> bool {
    let parts: Vec<&str> = text.split(':').collect();
    parts.len() == 3 && parts.iter().all(|part| number(part, '.').is_some()) && parts[1].len() == 2
}

fn minutes(text: &str) -> bool {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    text.split_once(':').is_some_and(|(minutes, seconds)| digits(minutes) && digits(seconds) && seconds.len() == 2)
}

fn ending(text: &str, endings: &[&str]) -> bool {
    text.rsplit_once('.')
        .is_some_and(|(name, ending)| !name.is_empty() && endings.contains(&ending.to_ascii_lowercase().as_str()))
}

fn hour(text: &str) -> bool {
    text.parse::<u32>().is_ok_and(|hour| (1..=13).contains(&hour))
}

/// The marks of stretches: two words before or behind a number, which begins again with each, the one that comes first being the start.
fn stretch(values: &[(String, usize)]) -> Option<(String, String)> {
    let mut marks: Vec<(String, Vec<&str>)> = Vec::new();
    for (value, _) in values {
        let start = value.find(|letter: char| letter.is_ascii_digit())?;
        let end = start + value[start..].find(|letter: char| !letter.is_ascii_digit()).unwrap_or(value.len() - start);
        let mark = format!("{}#{}", &value[..start], &value[end..]);
        if mark == "#" || mark.contains(|letter: char| letter.is_ascii_digit()) {
            return None;
        }
        match marks.iter_mut().find(|(own, _)| *own == mark) {
            Some((_, numbers)) => numbers.push(&value[start..end]),
            None => marks.push((mark, vec![&value[start..end]])),
        }
    }
    let [(first, starts), (second, ends)] = marks.as_slice() else { return None };
    ends.iter().all(|number| starts.contains(number)).then(|| (first.clone(), second.clone()))
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
    pub(super) fn of<'c>(cells: impl Iterator<Item = (&'c str, usize)>, decimal: char, american: bool) -> Self {
        let (mut look, mut seen) = (Self { even: true, ..Self::default() }, HashSet::new());
        for (cell, line) in cells {
            let cell = cell.trim();
            if cell.is_empty() {
                continue;
            }
            look.count += 1;
            if seen.insert(cell) {
                look.distinct.push((cell.to_owned(), line));
            }
        }
        let values = &look.distinct;
        if values.is_empty() {
            return look;
        }
        let all = |is: &dyn Fn(&str) -> bool| values.iter().all(|(value, _)| is(value));
        let mut forms = Vec::new();
        let numbers: Vec<f64> = values.iter().filter_map(|(value, _)| number(value, decimal)).collect();
        if numbers.len() == values.len() {
            forms.push(Form::Number);
            look.greatest = numbers.iter().copied().fold(f64::MIN, f64::max);
            let decimals = values.iter().map(|(value, _)| value.split_once(decimal).map_or(0, |(_, rest)| rest.len()));
            let decimals: Vec<usize> = decimals.collect();
            look.decimals = decimals.iter().copied().max().unwrap_or(0);
            look.even = decimals.iter().all(|one| *one == look.decimals);
            if all(&hour) {
                forms.push(Form::Hour);
            }
            if numbers.iter().all(|number| number.fract() == 0.0 && (0.0..=10.0).contains(number)) {
                forms.push(Form::Grade);
            }
            if numbers.iter().all(|number| number.fract() == 0.0 && (1800.0..2100.0).contains(number)) {
                forms.push(Form::Year);
            }
        }
        if all(&|value| station(value, decimal)) {
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
            !(pattern.contains("dd") || pattern.contains("mm"))
                || values.iter().all(|(value, _)| value.len() == pattern.len())
        };
        dates.retain(padded);
        dates.sort_by_key(|pattern| (pattern.starts_with('m') != american) && pattern.contains('/'));
        forms.extend(dates.first().map(|pattern| Form::Date(pattern)));
        let time = |pattern: &str, value: &str| pattern::time(value, None, pattern).is_some();
        let fits = |pattern: &&&'static str| {
            all(&|value| time(pattern, value))
                && (!pattern.contains("hh") || values.iter().all(|(value, _)| value.len() == pattern.len()))
        };
        forms.extend(TIMES.iter().find(fits).map(|pattern| Form::Time(pattern)));
        let both = DATES.iter().flat_map(|date| TIMES.iter().map(move |time| format!("{date} {time}")));
        let both = both.flat_map(|pattern| [pattern.replacen(' ', "T", 1), pattern]);
        let whole = |pattern: &String| {
            let fixed = pattern.contains("dd") && pattern.contains("hh") && !pattern.contains("mmm");
            all(&|value| pattern::both(value, None, pattern).is_some() && (!fixed || value.len() == pattern.len()))
        };
        forms.extend(both.into_iter().find(whole).map(Form::DateTime));
        let amounts: Vec<(String, &'static str)> =
            values.iter().filter_map(|(value, _)| amount(value, decimal)).collect();
        if amounts.len() == values.len() {
            let mut units: Vec<(String, &'static str)> = Vec::new();
            amounts.into_iter().for_each(|unit| {
                if !units.contains(&unit) {
                    units.push(unit)
                }
            });
            forms.push(Form::Amount(units));
        }
        for separator in ["-", "–", "/", " to ", " bis "] {
            let two = |value: &str| value.split_once(separator).is_some_and(|(from, to)| hour(from) && hour(to));
            if all(&|value| hour(value) || two(value)) && values.iter().any(|(value, _)| two(value)) {
                forms.push(Form::Clock(separator.to_owned()));
                break;
            }
        }
        if all(&|value| value.split([';', ',', ' ', '|']).all(|part| part.is_empty() || ending(part, PICTURES))) {
            forms.push(Form::Picture);
        }
        if all(&|value| ending(value, RECORDINGS)) {
            forms.push(Form::Recording);
        }
        if let Some((start, finish)) = stretch(values) {
            forms.push(Form::Stretch(start, finish));
        }
        let letters = |value: &str| value.bytes().all(|byte| byte.is_ascii_uppercase());
        if all(&|value| value.len() == 3 && letters(value) && value.starts_with('B')) {
            forms.push(Form::Letters3);
        }
        if all(&|value| value.len() == 1 && letters(value)) {
            forms.push(Form::Letters1);
        }
        look.forms = forms;
        look
    }

    pub(super) fn has(&self, form: &Form) -> bool {
        self.forms.contains(form)
    }

    pub(super) fn find<T>(&self, of: impl Fn(&Form) -> Option<T>) -> Option<T> {
        self.forms.iter().find_map(of)
    }
}
