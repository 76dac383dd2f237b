//! What a conversion did not carry over, for reading.

use std::collections::{BTreeSet, HashMap};
use std::io::Write;

use obvert::convert::{Loss, LossKind, LossReport, SourceMap};

use super::{plain, strong};
use crate::Failure;

/// A pointer behind a word; nothing where the whole document is meant.
fn spaced(pointer: &str) -> String {
    if pointer.is_empty() { String::new() } else { format!(" {pointer}") }
}

/// How many different losses are shown.
const SHOWN: usize = 200;

/// What a value was and what it became, where both are known, or what was put in.
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

/// Losses, the same of many values once: the first of each, and how many there are, in the order in
/// which they come.
pub(crate) fn folded<'l>(losses: impl Iterator<Item = &'l Loss>) -> Vec<(&'l Loss, usize)> {
    let mut folds: Vec<(&Loss, usize)> = Vec::new();
    let mut known: HashMap<(LossKind, &str), usize> = HashMap::new();
    for loss in losses {
        let place = *known.entry((loss.kind, &loss.message)).or_insert(folds.len());
        match folds.get_mut(place) {
            Some((_, count)) => *count += 1,
            None => folds.push((loss, 1)),
        }
    }
    folds
}

/// Says what was lost, the same loss of many values once.
///
/// What has no place is told with the `name` of the source, where that does not go without saying.
/// `places` are those of the source, where they are known. `observations` is how many there are,
/// where that is known.
pub(crate) fn say(
    reports: &[LossReport],
    name: Option<&str>,
    places: Option<&SourceMap>,
    observations: Option<usize>,
) -> Result<(), Failure> {
    let mut folds = folded(reports.iter().flat_map(|report| &report.losses));
    // Whole rows before values, then the most frequent; those that are as frequent stay in the
    // order of the document. What has a place of its own is a cell of the row.
    let whole = |loss: &Loss| {
        loss.kind == LossKind::Dropped && loss.place.is_none() && is_row(&loss.pointer)
    };
    folds.sort_by_key(|(loss, count)| (!whole(loss), std::cmp::Reverse(*count)));
    let mut said = Vec::new();
    let say = &mut said;
    let all = reports.iter().flat_map(|report| &report.losses);
    let gone = all
        .filter(|loss| whole(loss) && loss.pointer.contains("/observations/"))
        .map(|loss| &*loss.pointer);
    let gone = gone.collect::<BTreeSet<_>>().len();
    if let (Some(all), 1..) = (observations, gone) {
        let are = if gone == 1 { "is" } else { "are" };
        writeln!(say, "{gone} of {all} observations {are} not in what is written:")?;
    }
    for (loss, count) in folds.iter().take(SHOWN) {
        let kind = format!("{:?}", loss.kind).to_lowercase();
        let times =
            if *count == 1 { String::new() } else { format!(" ({count} times, the first here)") };
        let unplaced = |pointer: &str| {
            name.map_or_else(|| pointer.to_owned(), |name| format!("{name} {pointer}"))
        };
        let found = || {
            loss.place
                .as_deref()
                .cloned()
                .or_else(|| places.and_then(|places| places.place(&loss.pointer)))
        };
        let at = found().map_or_else(|| unplaced(&loss.pointer), |place| place.to_string());
        writeln!(
            say,
            "{}{}: {}{}{times}",
            strong(&kind),
            plain(&spaced(&at)),
            plain(&loss.message),
            plain(&values(loss))
        )?;
    }
    if folds.len() > SHOWN {
        let more: usize = folds.iter().skip(SHOWN).map(|(_, count)| count).sum();
        writeln!(say, "and {more} more of {} other kinds", folds.len() - SHOWN)?;
    }
    // What is worth knowing of a form stands in its description; what of a translation, depends on
    // the survey.
    if let Some((last, before)) = reports.split_last() {
        for note in before.iter().flat_map(|recoded| &recoded.notes) {
            writeln!(
                say,
                "{}{}: {}",
                strong("note"),
                plain(&spaced(&note.pointer)),
                plain(&note.message)
            )?;
        }
        // Each is about a value of its own; the account has them all.
        let mut alarms = last.notes.iter().filter(|note| note.alarm);
        if let Some(first) = alarms.next() {
            let count = 1 + alarms.count();
            let times = if count == 1 {
                String::new()
            } else {
                format!(" ({count} like this, the first here)")
            };
            let found = places.and_then(|places| places.place(&first.pointer));
            let at = found.map_or_else(|| first.pointer.clone(), |place| place.to_string());
            writeln!(
                say,
                "{}{}: {}{times}",
                strong("note"),
                plain(&spaced(&at)),
                plain(&first.message)
            )?;
        }
    }
    // Whether anybody reads this does not decide whether the survey is written.
    let _ = anstream::stderr().lock().write_all(&said);
    Ok(())
}
