//! The trade's synonyms: common words with the terms of the format for them.
//!
//! ```
//! use obvert_model::synonyms;
//! let sonde: Vec<_> = synonyms::of("Sondes").collect();
//! assert!(sonde[0].fields.iter().any(|field| field == "locates.transmitter_offset"));
//! ```

use std::collections::BTreeMap;
use std::sync::OnceLock;

use rustc_hash::FxHashMap;

use serde::Deserialize;

use crate::text::nearest;

/// Words of the trade with the same meaning, and the terms of the format for them.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[non_exhaustive]
pub struct Synonym {
    /// The words of the trade, in lower case and in the singular.
    pub words: Vec<String>,
    /// Fields, as paths of keys: `runs.observations.at`.
    #[serde(default)]
    pub fields: Vec<String>,
    /// Words of vocabularies, by field.
    #[serde(default)]
    pub values: BTreeMap<String, Vec<String>>,
    /// Codes of `obvert-terms`.
    #[serde(default)]
    pub codes: Vec<String>,
    /// Rules, by name.
    #[serde(default)]
    pub rules: Vec<String>,
}

/// All synonyms.
#[must_use]
pub fn all() -> &'static [Synonym] {
    static ALL: OnceLock<Vec<Synonym>> = OnceLock::new();
    ALL.get_or_init(|| {
        // Embedded, and read by a test.
        #[allow(clippy::expect_used)]
        serde_json::from_slice(include_bytes!("../data/synonyms.json"))
            .expect("the built-in synonyms read")
    })
}

/// The synonyms of a word. Case, hyphens, a plural `s` and a size after the word, as in `DN 200`, are
/// ignored. A word with two meanings has two: `DIP` is ductile iron pipe, and a dip is a sag.
pub fn of(word: &str) -> impl Iterator<Item = &'static Synonym> {
    let found = by_word().get(&normalized(without_size(word)));
    found.into_iter().flatten().map(|index| &all()[*index])
}

/// The indexes of the synonyms of each word. A document with thousands of unknown keys asks for
/// each of them.
fn by_word() -> &'static FxHashMap<String, Vec<usize>> {
    static BY_WORD: OnceLock<FxHashMap<String, Vec<usize>>> = OnceLock::new();
    BY_WORD.get_or_init(|| {
        let mut found: FxHashMap<String, Vec<usize>> = FxHashMap::default();
        for (index, synonym) in all().iter().enumerate() {
            for word in &synonym.words {
                let indexes = found.entry(normalized(word)).or_default();
                if indexes.last() != Some(&index) {
                    indexes.push(index);
                }
            }
        }
        found
    })
}

/// The word of a vocabulary that is meant by another word: one that is spelt nearly like it, or
/// else one that the trade's word stands for, such as `sanitary` for *foul*. `path` is the path of
/// the field that has the vocabulary, or a JSON Pointer to it; empty if it is not known.
///
/// ```
/// use obvert_model::synonyms;
/// let words = ["sanitary", "storm", "combined", "other"];
/// assert_eq!(synonyms::nearest_value("pipes.carries", "foul", &words), Some("sanitary"));
/// assert_eq!(synonyms::nearest_value("pipes.carries", "Strom", &words), Some("storm"));
/// ```
pub fn nearest_value<'w>(path: &str, word: &str, words: &[&'w str]) -> Option<&'w str> {
    let path = path_of(path);
    let of_field = |field: &String| path.is_empty() || *field == path;
    let values = of(word).flat_map(|synonym| &synonym.values);
    let meant = values.filter(|(field, _)| of_field(field)).flat_map(|(_, values)| values);
    let mut meant = meant.filter_map(|value| words.iter().find(|known| **known == *value));
    meant.next().copied().or_else(|| nearest(word, words.iter().copied()))
}

/// The key of an object that is meant by another key, in the same way: `height` for *diameter* in a
/// pipe. `path` is the path of the object, or a JSON Pointer to it; empty for the document.
///
/// ```
/// use obvert_model::synonyms;
/// assert_eq!(synonyms::nearest_key("pipes", "diameter", &["height", "width"]), Some("height"));
/// ```
pub fn nearest_key<'w>(path: &str, key: &str, keys: &[&'w str]) -> Option<&'w str> {
    let path = path_of(path);
    let below = |field: &'static String| match path.as_str() {
        "" => Some(field.as_str()),
        path => field.strip_prefix(path)?.strip_prefix('.'),
    };
    // A key that is spelt nearly right is not a word of the trade.
    let spelt = nearest(key, keys.iter().copied());
    let mut meant = of(key).flat_map(|synonym| &synonym.fields).filter_map(below);
    spelt.or_else(|| meant.find_map(|field| keys.iter().find(|known| **known == field).copied()))
}

/// The path of a field from a path or a JSON Pointer, without the numbers of rows.
fn path_of(pointer: &str) -> String {
    let is_key =
        |key: &&str| !matches!(*key, "" | "-") && !key.bytes().all(|byte| byte.is_ascii_digit());
    pointer.split(['/', '.']).filter(is_key).collect::<Vec<_>>().join(".")
}

/// A word without a size after it: `DN` of `DN 200` and `Ø` of `Ø200 mm`.
fn without_size(word: &str) -> &str {
    let Some(digit) = word.find(|letter: char| letter.is_ascii_digit()) else { return word };
    let (before, size) = word.split_at(digit);
    let number = |letter: char| letter.is_ascii_digit() || matches!(letter, '.' | ',' | ' ' | '/');
    let unit = size.trim_start_matches(number).trim();
    let before = before.trim();
    if !before.is_empty() && matches!(unit, "" | "mm" | "in" | "cm" | "\"") { before } else { word }
}

fn normalized(word: &str) -> String {
    let parts: Vec<String> = word
        .split(['-', '_', ' '])
        .filter(|part| !part.is_empty())
        .map(str::to_lowercase)
        .collect();
    let joined = parts.join(" ");
    joined.strip_suffix('s').map_or_else(|| joined.clone(), str::to_owned)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::lists::CodeList;
    use crate::shape::{self, Shape};

    fn shape_of(path: &str) -> Option<&'static Shape> {
        Some(&shape::field(&path.split('.').collect::<Vec<_>>())?.shape)
    }

    #[test]
    fn every_term_exists() {
        let codes = CodeList::obvert_terms().by_code();
        for synonym in all() {
            let Synonym { words, fields, values, codes: of, rules } = synonym;
            assert!(
                !words.is_empty() && fields.len() + values.len() + of.len() + rules.len() > 0,
                "{words:?}"
            );
            for field in fields {
                assert!(shape_of(field).is_some(), "{words:?}: {field}");
            }
            for (field, values) in values {
                let Some(Shape::Word(known)) = shape_of(field) else {
                    panic!("{words:?}: {field} has no words")
                };
                assert!(
                    values.iter().all(|value| known.contains(value)),
                    "{words:?}: {field} {values:?}"
                );
            }
            for code in of {
                assert!(codes.contains_key(code.as_str()), "{words:?}: {code}");
            }
        }
    }

    #[test]
    fn words_are_in_lower_case_and_many() {
        let words: BTreeSet<&str> =
            all().iter().flat_map(|synonym| &synonym.words).map(String::as_str).collect();
        assert!(words.iter().all(|word| *word == word.to_lowercase() && word.trim() == *word));
        assert!(words.len() >= 80, "{}", words.len());
    }

    #[test]
    fn spelling_makes_no_difference() {
        let first = |word: &str| of(word).next().map(|synonym| synonym.words[0].as_str());
        assert_eq!(first("Push-Rods"), Some("push rod"));
        assert_eq!(first("offset  joint"), Some("offset joint"));
        assert_eq!(first("rat"), Some("rats"));
        assert_eq!(of("DIP").count(), 2);
        assert_eq!(first("DN 200"), Some("diameter"));
        assert_eq!(first("dn200"), Some("diameter"));
        assert_eq!(first("dropped joint"), Some("offset joint"));
        assert_eq!(first("CCTV"), Some("survey"));
        assert_eq!(first("no such word"), None);
    }
}
