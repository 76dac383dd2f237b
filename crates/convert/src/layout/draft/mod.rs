//! A layout proposed from a table alone: its delimiter, marks and headings are guessed, every column is held against what columns of surveys
//! hold, by its heading and by what its values look like, and each guess says how sure it is, why, and which value decided it. An
//! office corrects a draft; nobody converts by one unseen.

mod fill;
mod look;
mod words;

use std::collections::BTreeMap;

use obvert_model::layout::Layout;

use super::bytes::{self, Told};
use super::cells;
use super::grid::{self, GridRow};
use crate::{ConvertError, Place};
use look::{Form, Look};
use words::{TARGETS, Target, Wants};

/// A layout that was proposed, and what it rests on.
#[derive(Clone, Debug)]
pub struct Draft {
    /// The layout. Each of its columns says in its basis what it rests on.
    pub layout: Layout,
    /// A proposal for each column of the table, in their order.
    pub columns: Vec<Drafted>,
    /// What was guessed of the file as a whole: lower case, no full stop.
    pub guesses: Vec<String>,
    /// What the table does not tell and somebody has to fill in or look at: lower case, no full stop.
    pub open: Vec<String>,
}

/// What is proposed for one column.
#[derive(Clone, Debug, PartialEq)]
pub struct Drafted {
    /// Its heading.
    pub heading: String,
    /// The field, or `codes` or `stretches` where it says what was seen or marks a stretch; `None` where nothing was found for it.
    pub to: Option<String>,
    /// How sure that is, from 0 to 1.
    pub confidence: f64,
    /// Why: lower case, no full stop.
    pub reason: String,
    /// The value that decided it, and the line that it stands on.
    pub sample: Option<(String, usize)>,
}

/// More rows than these say nothing new.
const ENOUGH: usize = 10_000;
/// Below this, no proposal is made.
const LEAST: f64 = 0.5;
/// How sure a column is that has no heading that names it, and values that can hardly be anything else.
const BY_VALUES: f64 = 0.55;

/// Proposes a layout for a table. `name` is how errors call the file.
///
/// # Errors
/// When the bytes are no table with headings and rows below them.
pub fn draft(source: &[u8], name: &str) -> Result<Draft, ConvertError> {
    let fail = |line: usize, message: String| {
        let place = Place { file: name.to_owned(), line, column: None, heading: None };
        ConvertError::Form { place: Some(place), message }
    };
    let (text, encoding, told) = bytes::decode(source, None).map_err(|(line, why)| fail(line, why))?;
    let mut guesses = Vec::new();
    match told {
        Told::Plain => guesses.push(format!("encoding {encoding}, for sure")),
        Told::Marked | Told::Guessed => guesses.push(format!("encoding {encoding}, by its bytes")),
    }
    let (delimiter, rows) = delimited(&text).ok_or_else(|| {
        fail(1, "no delimiter cuts its lines into as many cells each; is this a table with a comma, semicolon, tab or bar between cells?".to_owned())
    })?;
    let wide = modal(&rows);
    let (first, deep) = heading_rows(&rows, wide);
    if rows.len() <= first + deep {
        return Err(fail(1, "there are no rows below the headings to tell from what the columns hold".to_owned()));
    }
    let headings = grid::headings(&rows[first..first + deep]);
    let mut body: Vec<&GridRow> = rows[first + deep..].iter().filter(|row| !row.is_blank()).collect();
    if body.len() > ENOUGH {
        guesses.push(format!("all by the first {ENOUGH} of {} rows", body.len()));
        body.truncate(ENOUGH);
    }
    let name_of = if delimiter == '\t' { "a tab".to_owned() } else { format!("{delimiter:?}") };
    guesses.push(format!("{name_of} between cells: it cuts {} of {} rows into {wide}", count(&rows, wide), rows.len()));
    if first > 0 || deep > 1 {
        guesses.push(format!(
            "headings in row {}{}",
            first + 1,
            if deep > 1 { format!(" and {deep} rows deep") } else { String::new() }
        ));
    }
    let decimal = decimal_mark(&body, delimiter);
    guesses.push(format!("{:?} as the decimal mark: {}", decimal.0, decimal.1));
    let cell = |row: &GridRow, column: usize| row.cells.get(column).map_or(String::new(), |cell| cell.text.clone());
    // Where somebody writes am and pm, months come before days.
    let american = body.iter().any(|row| {
        row.cells.iter().any(|cell| {
            let lower = cell.text.trim().to_ascii_lowercase();
            lower.contains(':') && (lower.ends_with("am") || lower.ends_with("pm"))
        })
    });
    let looks: Vec<Look> = (0..headings.len())
        .map(|column| {
            let values: Vec<(String, usize)> = body.iter().map(|row| (cell(row, column), row.line)).collect();
            Look::of(values.iter().map(|(value, line)| (value.as_str(), *line)), decimal.0, american)
        })
        .collect();
    let choices = choose(&headings, &looks);
    let table = fill::Table {
        headings: &headings,
        looks: &looks,
        choices: &choices,
        rows: &body,
        encoding,
        delimiter,
        decimal: decimal.0,
        american,
        first,
        deep,
    };
    table.draft(guesses)
}

/// How many cells most rows have.
fn modal(rows: &[GridRow]) -> usize {
    let mut often: BTreeMap<usize, usize> = BTreeMap::new();
    rows.iter().filter(|row| !row.is_blank()).for_each(|row| *often.entry(row.cells.len()).or_default() += 1);
    often.into_iter().max_by_key(|(wide, times)| (*times, *wide)).map_or(0, |(wide, _)| wide)
}

fn count(rows: &[GridRow], wide: usize) -> usize {
    rows.iter().filter(|row| row.cells.len() == wide).count()
}

/// The delimiter that cuts the most rows into as many cells, more than one, and the rows by it.
fn delimited(text: &str) -> Option<(char, Vec<GridRow>)> {
    let by = |delimiter: char| Some((delimiter, cells::split(text, delimiter).ok()?));
    let good = [';', '\t', ',', '|'].into_iter().filter_map(by).filter(|(_, rows)| modal(rows) > 1);
    good.max_by_key(|(_, rows)| {
        let wide = modal(rows);
        // Out of a thousand rows that many agree; then the more columns the better.
        (count(rows, wide) * 1000 / rows.len().max(1), wide)
    })
}

/// The row that headings begin in, from 0, and how many they take: the first row that is as wide as most and has no number in it.
fn heading_rows(rows: &[GridRow], wide: usize) -> (usize, usize) {
    let texts = |row: &GridRow| row.cells.iter().filter(|cell| !cell.text.trim().is_empty()).count();
    let digits = |row: &GridRow| {
        row.cells.iter().any(|cell| cell.text.trim().starts_with(|letter: char| letter.is_ascii_digit()))
    };
    let first =
        rows.iter().position(|row| row.cells.len() == wide && texts(row) * 2 > wide && !digits(row)).unwrap_or(0);
    let gaps = rows.get(first).is_some_and(|row| texts(row) < wide);
    // Merged cells leave gaps, and what they head stands below, in a row without numbers above one with some.
    let second = gaps
        && rows.get(first + 1).is_some_and(|row| !digits(row) && texts(row) > 0)
        && rows.get(first + 2).is_some_and(digits);
    (first, 1 + usize::from(second))
}

/// The decimal mark and why.
fn decimal_mark(rows: &[&GridRow], delimiter: char) -> (char, String) {
    let with = |mark: char| {
        let is = |text: &str| {
            text.split_once(mark).is_some_and(|(whole, rest)| {
                let whole = whole.trim_start_matches('-');
                !whole.is_empty()
                    && !rest.is_empty()
                    && (whole.to_owned() + rest).bytes().all(|byte| byte.is_ascii_digit())
            })
        };
        rows.iter().flat_map(|row| &row.cells).filter(|cell| is(cell.text.trim())).count()
    };
    let (commas, points) = (with(','), with('.'));
    if delimiter != ',' && commas > points {
        return (',', format!("{commas} cells are numbers with a comma"));
    }
    let why = if points > 0 {
        format!("{points} cells are numbers with a point")
    } else {
        "no number has another".to_owned()
    };
    ('.', why)
}

/// What was chosen for a column.
struct Choice {
    target: &'static Target,
    confidence: f64,
    named: f64,
    fit: f64,
}

/// How well values fit what a target wants, from 0 to 1; `None` where they cannot be it.
fn fit(target: &Target, look: &Look) -> Option<f64> {
    if look.count == 0 {
        return Some(0.4);
    }
    let is = |form: &Form| look.has(form);
    let amount = look.find(|form| matches!(form, Form::Amount(_)).then_some(())).is_some();
    let clock = look.find(|form| matches!(form, Form::Clock(_)).then_some(())).is_some();
    let moment =
        look.find(|form| matches!(form, Form::Date(_) | Form::Time(_) | Form::DateTime(_)).then_some(())).is_some();
    let number = is(&Form::Number);
    let held = |words: &[(&str, &'static str)]| {
        fill::translated(&look.distinct, words).iter().filter(|(_, value)| value.is_some()).count()
    };
    let few = look.distinct.len() <= 25;
    #[allow(clippy::cast_precision_loss)]
    let known = |words: &[(&str, &'static str)]| 0.5 + 0.5 * held(words) as f64 / look.distinct.len().max(1) as f64;
    match target.wants {
        Wants::Text if target.to == "codes" && is(&Form::Letters3) => Some(1.0),
        Wants::Text if moment && !number || is(&Form::Picture) || is(&Form::Station) || is(&Form::Duration) => None,
        Wants::Text if number && look.decimals > 0 => None,
        Wants::Text if number => ["pipes.id", "runs.id", "runs.from", "runs.to", "pipes.upstream", "pipes.downstream"]
            .contains(&target.to)
            .then_some(0.6),
        Wants::Text => Some(0.8),
        Wants::Word if number || moment || !few => None,
        Wants::Word if target.to == "runs.direction" => Some(known(words::DIRECTIONS)),
        Wants::Word if target.to == "pipes.material" => Some(known(words::MATERIALS)),
        Wants::Word => Some(0.7),
        Wants::Number => number.then_some(1.0),
        Wants::Distance if is(&Form::Station) || is(&Form::FeetAndInches) => Some(1.0),
        Wants::Distance => {
            if number {
                Some(0.9)
            } else {
                amount.then_some(0.7)
            }
        }
        Wants::Amount if amount => Some(1.0),
        Wants::Amount => {
            if number {
                Some(0.8)
            } else {
                is(&Form::FeetAndInches).then_some(0.8)
            }
        }
        Wants::Moment => moment.then_some(1.0),
        Wants::Clock => {
            if clock {
                Some(1.0)
            } else {
                is(&Form::Hour).then_some(0.6)
            }
        }
        Wants::Hour => {
            if is(&Form::Hour) {
                Some(1.0)
            } else {
                number.then_some(0.4)
            }
        }
        Wants::Yes => {
            let yes = look.distinct.iter().all(|(value, _)| fill::yes(value).is_some()) && look.distinct.len() <= 2;
            yes.then_some(1.0)
        }
        Wants::Grade => is(&Form::Grade).then_some(1.0),
        Wants::Picture if is(&Form::Picture) => Some(1.0),
        Wants::Picture => (!number && !moment && !is(&Form::Duration) && !is(&Form::Recording)).then_some(0.4),
        Wants::Recording => is(&Form::Recording).then_some(1.0),
        Wants::Offset => {
            if is(&Form::Duration) || is(&Form::Minutes) {
                Some(1.0)
            } else {
                number.then_some(0.6)
            }
        }
        Wants::Stretch => look.find(|form| matches!(form, Form::Stretch(..)).then_some(1.0)),
        Wants::Letters => is(&Form::Letters1).then_some(1.0),
        Wants::Year => is(&Form::Year).then_some(1.0),
    }
}

/// Whether values of that look can hardly be anything else, whatever stands above them.
fn speaks(target: &Target, look: &Look) -> bool {
    match target.wants {
        Wants::Distance => look.has(&Form::Station),
        Wants::Picture => look.has(&Form::Picture),
        Wants::Recording => look.has(&Form::Recording),
        Wants::Stretch => look.find(|form| matches!(form, Form::Stretch(..)).then_some(())).is_some(),
        Wants::Text => target.to == "codes" && look.has(&Form::Letters3),
        Wants::Moment => {
            look.find(|form| matches!(form, Form::Date(_) | Form::DateTime(_)).then_some(())).is_some()
                && !look.has(&Form::Number)
        }
        _ => false,
    }
}

/// How many columns can hold a target.
fn most(target: &Target) -> usize {
    match target.to {
        "runs.started" => 2,
        "runs.observations.characterisation" | "runs.observations.quantities.value" | "runs.observations.media.id" => 9,
        _ => 1,
    }
}

/// The best target for each column, the surest choices first.
fn choose(headings: &[String], looks: &[Look]) -> Vec<Option<Choice>> {
    let mut all: Vec<(usize, usize, Choice)> = Vec::new();
    for (column, (heading, look)) in headings.iter().zip(looks).enumerate() {
        let heading = words::words(heading);
        for (order, target) in TARGETS.iter().enumerate() {
            let Some(fit) = fit(target, look) else { continue };
            let named = words::named(&heading, target);
            let confidence = match named {
                0.0 if look.count > 0 && speaks(target, look) => BY_VALUES,
                0.0 => continue,
                _ => 0.6 * named + 0.4 * fit,
            };
            if confidence >= LEAST {
                all.push((column, order, Choice { target, confidence, named, fit }));
            }
        }
    }
    all.sort_by(|one, other| {
        other.2.confidence.total_cmp(&one.2.confidence).then(one.0.cmp(&other.0)).then(one.1.cmp(&other.1))
    });
    let mut chosen: Vec<Option<Choice>> = headings.iter().map(|_| None).collect();
    for (column, _, choice) in all {
        let taken = chosen.iter().flatten().filter(|other| other.target.to == choice.target.to).count();
        if chosen[column].is_none() && taken < most(choice.target) {
            chosen[column] = Some(choice);
        }
    }
    chosen
}
