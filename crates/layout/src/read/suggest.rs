//! Suggestions for words of cells that a layout does not know.

use std::collections::HashMap;
use std::sync::Mutex;

use obvert_model::layout::{CodeColumns, Column, Target};
use obvert_model::text::nearest;

use crate::draft;

/// For how many different words there is a suggestion: finding one costs more than reading a row.
const MOST: usize = 100;

/// The suggestions so far, by word. A table that is wrong has the same words in many rows.
#[derive(Default)]
pub(crate) struct Advice(Mutex<HashMap<String, String>>);

impl Advice {
    /// What a word in a column with words may mean; blank if that is not known.
    pub(super) fn on_word(&self, found: &str, column: &Column, target: Target) -> String {
        let key = format!("{} {found}", column.heading);
        self.cached(key, || word(found, column, target))
    }

    /// What words without a code may mean; blank if that is not known.
    pub(super) fn on_code(&self, found: &[&str], codes: &CodeColumns) -> String {
        self.cached(found.join("\n"), || code(found, codes))
    }

    fn cached(&self, key: String, make: impl FnOnce() -> Option<String>) -> String {
        let Ok(mut known) = self.0.lock() else { return String::new() };
        if known.len() >= MOST && !known.contains_key(&key) {
            return String::new();
        }
        known.entry(key).or_insert_with(|| make().unwrap_or_default()).clone()
    }
}

/// What a word in a column with words may mean.
fn word(found: &str, column: &Column, target: Target) -> Option<String> {
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
fn code(found: &[&str], codes: &CodeColumns) -> Option<String> {
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
