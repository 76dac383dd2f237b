//! The trade's synonyms: common words with the terms of the format for them.
//!
//! ```
//! use obvert_model::synonyms;
//! let sonde: Vec<_> = synonyms::of("Sondes").collect();
//! assert!(sonde[0].fields.iter().any(|field| field == "locates.transmitter_offset"));
//! ```

use std::collections::BTreeMap;
use std::sync::OnceLock;

use serde::Deserialize;

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

/// The synonyms of a word. Case, hyphens and a plural `s` are ignored. A word with two meanings has
/// two: `DIP` is ductile iron pipe, and a dip is a sag.
pub fn of(word: &str) -> impl Iterator<Item = &'static Synonym> {
    let meant = normalized(word);
    all().iter().filter(move |synonym| synonym.words.iter().any(|word| normalized(word) == meant))
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
        assert_eq!(first("no such word"), None);
    }
}
