//! The losses of a conversion, as text.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::io::{self, Write};

use obvert::convert::{Loss, LossKind, LossReport, SourceMap};

use super::{count, plain, strong};
use crate::Failure;

/// A pointer after a word; empty for the whole document.
fn spaced(pointer: &str) -> String {
    if pointer.is_empty() { String::new() } else { format!(" {pointer}") }
}

/// How many different losses are shown.
const SHOWN: usize = 200;

/// The value before and after, or the value that was added or lost.
fn values(loss: &Loss) -> String {
    const LONGEST: usize = 60;
    let short = |value: &serde_json::Value| {
        let text = value.to_string();
        let cut = text.chars().take(LONGEST).collect::<String>();
        if cut.len() < text.len() { format!("{cut}…") } else { text }
    };
    match (&loss.was, &loss.becomes) {
        (Some(was), Some(becomes)) => format!(": {} becomes {}", short(was), short(becomes)),
        (None, Some(becomes)) => format!(": {}", short(becomes)),
        (Some(was), None) if !was.is_object() && !was.is_array() => format!(": {}", short(was)),
        (_, None) => String::new(),
    }
}

/// Whether a pointer is that of a run or an observation.
fn is_row(pointer: &str) -> bool {
    let keys: Vec<&str> = pointer.split('/').skip(1).collect();
    matches!(keys.as_slice(), ["runs", _] | ["runs", _, "observations", _])
}

/// Losses, folded by message: the first of each, and the number of times, in the order of their
/// first occurrence.
pub(crate) fn folded<'l>(losses: impl Iterator<Item = &'l Loss>) -> Vec<(&'l Loss, usize)> {
    let mut folds: Vec<(&Loss, usize)> = Vec::new();
    let mut known: HashMap<(LossKind, &str), usize> = HashMap::new();
    for loss in losses {
        let index = *known.entry((loss.kind, &loss.message)).or_insert(folds.len());
        match folds.get_mut(index) {
            Some((_, count)) => *count += 1,
            None => folds.push((loss, 1)),
        }
    }
    folds
}

/// How many times a loss occurs, if more than once.
pub(crate) fn times(count: usize) -> String {
    if count == 1 { String::new() } else { format!(" ({count} times, first shown)") }
}

/// Whether a whole run or observation is lost. A loss with a location of its own is a cell of one.
fn is_lost_row(loss: &Loss) -> bool {
    loss.kind == LossKind::Dropped && loss.place.is_none() && is_row(&loss.pointer)
}

/// What is lost or changed, counted; `None` if nothing is.
pub(crate) fn summary(reports: &[LossReport]) -> Option<String> {
    let all = reports.iter().flat_map(|report| &report.losses);
    let lost = all.filter(|loss| loss.kind != LossKind::Defaulted);
    let (rows, values): (Vec<&Loss>, Vec<&Loss>) = lost.partition(|loss| is_lost_row(loss));
    let rows: BTreeSet<&str> = rows.iter().map(|loss| &*loss.pointer).collect();
    let fields = by_field(&values);
    let (observations, runs): (Vec<&str>, Vec<&str>) =
        rows.iter().partition(|pointer| pointer.contains("/observations/"));
    let parts = [(observations.len(), "observation"), (runs.len(), "run"), (values.len(), "value")];
    let parts = parts.into_iter().filter(|(number, _)| *number > 0);
    let parts: Vec<String> = parts.map(|(number, what)| count(number, what)).collect();
    let are = if observations.len() + runs.len() + values.len() == 1 { "is" } else { "are" };
    (!parts.is_empty())
        .then(|| format!("{} {are} lost or changed{fields}, as listed above", parts.join(", ")))
}

/// How many fields are named.
const FIELDS: usize = 12;

/// The fields of values, the most frequent first, each with how many of its values are lost or
/// changed. Losses are listed by their reason, which hides the fields that share one.
fn by_field(losses: &[&Loss]) -> String {
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for loss in losses {
        let keys = loss.pointer.split('/').skip(1);
        let keys = keys.filter(|key| !key.bytes().all(|byte| byte.is_ascii_digit()));
        let field = keys.collect::<Vec<_>>().join(".");
        *counts.entry(field).or_default() += 1;
    }
    counts.remove("");
    let mut fields: Vec<(String, usize)> = counts.into_iter().collect();
    fields.sort_by_key(|(_, count)| Reverse(*count));
    let named = fields.iter().take(FIELDS);
    let mut named: Vec<String> =
        named.map(|(field, count)| format!("{} {count}", plain(field))).collect();
    if fields.len() > FIELDS {
        named.push(format!("and {} more fields", fields.len() - FIELDS));
    }
    if named.is_empty() { String::new() } else { format!(" ({})", named.join(", ")) }
}

/// Prints losses to standard error, folded by message.
///
/// A loss without a location is printed with the `name` of the source, if there can be doubt which
/// source it is. `locations` are those of the source, if they are known. `observations` is the
/// number of observations, if it is known.
pub(crate) fn report(
    reports: &[LossReport],
    name: Option<&str>,
    locations: Option<&SourceMap>,
    observations: Option<usize>,
) -> Result<(), Failure> {
    let losses = || reports.iter().flat_map(|report| &report.losses);
    let mut log = Vec::new();
    let lost: BTreeSet<&str> = losses()
        .filter(|loss| is_lost_row(loss) && loss.pointer.contains("/observations/"))
        .map(|loss| &*loss.pointer)
        .collect();
    if let (Some(all), 1..) = (observations, lost.len()) {
        let are = if lost.len() == 1 { "is" } else { "are" };
        let warning = strong("warning:");
        writeln!(log, "{warning} {} of {all} observations {are} not in the output:", lost.len())?;
    }
    let mut folds = folded(losses());
    // Whole rows come first, then the most frequent losses; the rest stays in the order of the
    // document.
    folds.sort_by_key(|(loss, count)| (!is_lost_row(loss), Reverse(*count)));
    for (loss, count) in folds.iter().take(SHOWN) {
        let location = loss
            .place
            .as_deref()
            .cloned()
            .or_else(|| locations.and_then(|locations| locations.place(&loss.pointer)));
        let at = match (location, name) {
            (Some(location), _) => location.to_string(),
            (None, Some(name)) => format!("{name} {}", loss.pointer),
            (None, None) => loss.pointer.to_string(),
        };
        let kind = format!("{:?}", loss.kind).to_lowercase();
        let message = format!("{}{}", loss.message, values(loss));
        line(&mut log, &kind, &at, &message, &times(*count))?;
    }
    if folds.len() > SHOWN {
        let more: usize = folds.iter().skip(SHOWN).map(|(_, count)| count).sum();
        writeln!(log, "and {more} more losses of {} other kinds", folds.len() - SHOWN)?;
    }
    notes(&mut log, reports, locations)?;
    // The output is written whether or not standard error can be written.
    let _ = anstream::stderr().lock().write_all(&log);
    Ok(())
}

/// Prints the notes of a translation, and the warnings of the written format. Its other notes are
/// the same for every survey, and part of its documentation.
fn notes(
    log: &mut dyn Write,
    reports: &[LossReport],
    locations: Option<&SourceMap>,
) -> io::Result<()> {
    let Some((written, before)) = reports.split_last() else { return Ok(()) };
    for note in before.iter().flat_map(|report| &report.notes) {
        line(log, "note", &note.pointer, &note.message, "")?;
    }
    // Each warning is about one value; the account lists them all.
    let mut warnings = written.notes.iter().filter(|note| note.alarm);
    if let Some(first) = warnings.next() {
        let location = locations.and_then(|locations| locations.place(&first.pointer));
        let at = location.map_or_else(|| first.pointer.to_string(), |at| at.to_string());
        let similar = match 1 + warnings.count() {
            1 => String::new(),
            count => format!(" ({count} similar notes, first shown)"),
        };
        line(log, "note", &at, &first.message, &similar)?;
    }
    Ok(())
}

/// Prints a loss or a note, with how many times it occurs.
fn line(log: &mut dyn Write, kind: &str, at: &str, message: &str, times: &str) -> io::Result<()> {
    let (at, message) = (plain(&spaced(at)), plain(message));
    writeln!(log, "{}{at}: {message}{times}", strong(kind))
}
