//! Suggestions for words of cells that a layout does not know.

use obvert_model::layout::{CodeColumns, Column, Target};
use obvert_model::text::nearest;

use crate::draft;

/// What a word in a column with words may mean.
pub(super) fn word(found: &str, column: &Column, target: Target) -> Option<String> {
    if column.translate.is_empty() {
        return None;
    }
    let known = column.translate.iter().map(|word| word.text.as_str());
    if let Some(near) = nearest(found, known) {
        return Some(format!("; did you mean {near:?}?"));
    }
    let value = draft::probably_meant(found, target)?;
    Some(format!("; it probably means {value}: if so, add it to translate in the layout"))
}

/// What words without a code may mean.
pub(super) fn code(found: &[&str], codes: &CodeColumns) -> Option<String> {
    let joined: Vec<String> = codes
        .words
        .iter()
        .map(|entry| entry.words.iter().map(|word| &**word).collect::<Vec<_>>().join(", "))
        .collect();
    let found = found.join(", ");
    if let Some(near) = nearest(&found, joined.iter().map(String::as_str)) {
        return Some(format!("; did you mean {near:?}?"));
    }
    let likely = draft::likely_codes(&found);
    let (first, more) = likely.split_first()?;
    let or = more.first().map(|second| format!(" or {second}")).unwrap_or_default();
    Some(format!("; it may be {first}{or}: if so, add it to codes.words in the layout"))
}
