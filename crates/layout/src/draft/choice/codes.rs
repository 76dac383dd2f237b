//! An office's words for codes of the project's own list.

use std::collections::BTreeSet;
use std::sync::OnceLock;

use obvert_model::lists::{Code, CodeList};
use obvert_model::synonyms::{self, Synonym};
use obvert_model::text::nearest;

use crate::draft::statistics::ColumnStatistics;
use crate::draft::vocabulary;

/// A code of the project's own list, with the words of its id and of its names in all languages.
struct Known {
    code: &'static Code,
    id: Vec<String>,
    names: Vec<Vec<String>>,
}

/// The codes of the project's own list. Many texts are compared with them.
fn known_codes() -> &'static [Known] {
    static CODES: OnceLock<Vec<Known>> = OnceLock::new();
    CODES.get_or_init(|| {
        let known = |code: &'static Code| Known {
            code,
            id: vocabulary::words(&code.code),
            names: code.label.values().map(|name| vocabulary::in_code_words(name)).collect(),
        };
        CodeList::obvert_terms().codes.iter().map(known).collect()
    })
}

/// The one code of a synonym of the trade.
fn by_synonym(text: &str) -> Option<&'static Code> {
    let of_codes = |synonym: &&&Synonym| !synonym.codes.is_empty();
    let mut found = vocabulary::synonyms_of(text).iter().filter(of_codes);
    let synonym = found.next().filter(|_| found.next().is_none())?;
    let [code] = synonym.codes.as_slice() else { return None };
    CodeList::obvert_terms().codes.iter().find(|known| *known.code == **code)
}

/// The codes that a text without a certain code may mean, the most likely first: those of a word
/// that is spelled alike, those of synonyms of the trade, and those with the same first word.
pub(crate) fn alternatives(text: &str) -> Vec<&'static str> {
    const MOST: usize = 3;
    let own = vocabulary::words(text);
    let mut found: Vec<&'static str> = Vec::new();
    let add = |code: &'static str, found: &mut Vec<&'static str>| {
        if !found.contains(&code) {
            found.push(code);
        }
    };
    if let Some((code, _)) = respelled(&own).and_then(|text| meant(&text)) {
        add(&code.code, &mut found);
    }
    let named = synonyms::all().iter().filter(|synonym| {
        synonym.words.iter().any(|phrase| {
            let phrase = vocabulary::words(phrase);
            // A phrase of signs has no words.
            !phrase.is_empty() && phrase.iter().all(|word| own.iter().any(|own| own == word))
        })
    });
    for code in named.flat_map(|synonym| &synonym.codes) {
        add(code, &mut found);
    }
    let own = vocabulary::in_code_words(text);
    let alike = |known: &&Known| known.id.first().is_some_and(|first| own.contains(first));
    for known in known_codes().iter().filter(alike) {
        add(&known.code.code, &mut found);
    }
    found.truncate(MOST);
    found
}

/// A text with each unknown word replaced by a known one that is spelled alike; `None` if there is
/// none.
fn respelled(own: &[String]) -> Option<String> {
    static KNOWN: OnceLock<BTreeSet<String>> = OnceLock::new();
    let known = KNOWN.get_or_init(|| {
        let labels = CodeList::obvert_terms().codes.iter().flat_map(|code| code.label.values());
        let labels = labels.flat_map(|label| vocabulary::words(label));
        let ids = known_codes().iter().flat_map(|known| known.id.clone());
        let known = labels.chain(ids).chain(vocabulary::words_for_codes());
        known.filter(|word| word.len() > 3).collect()
    });
    let respelled = |word: &String| {
        let near = || nearest(word, known.iter().map(String::as_str)).map(str::to_owned);
        if known.contains(word) || word.len() < 4 { None } else { near() }
    };
    let words: Vec<Option<String>> = own.iter().map(respelled).collect();
    if words.iter().all(Option::is_none) {
        return None;
    }
    let words = words.into_iter().zip(own).map(|(new, own)| new.unwrap_or_else(|| own.clone()));
    Some(words.collect::<Vec<_>>().join(" "))
}

/// Whether no value is a word for a known code.
pub(super) fn are_unknown(statistics: &ColumnStatistics) -> bool {
    !statistics.distinct.iter().take(20).any(|(value, _)| meant(value).is_some())
}

/// Whether most values are words for a known code.
pub(super) fn are_known(statistics: &ColumnStatistics) -> bool {
    let some = statistics.distinct.iter().take(50);
    let known = some.clone().filter(|(value, _)| meant(value).is_some()).count();
    known > 2 && known * 10 >= some.len() * 6
}

/// The most likely code for words, with its characterisation: the words include all words of its
/// id; more words are better.
pub(crate) fn meant(text: &str) -> Option<(&'static Code, Vec<&'static str>)> {
    let mut own = vocabulary::in_code_words(text);
    let has = |own: &[String], word: &str| own.iter().any(|own| own == word);
    // People do not write what starts, and only a run can be abandoned.
    let is_alone = own.len() == 1 && ["start", "finish"].contains(&own[0].as_str());
    if (is_alone || has(&own, "stopped")) && !has(&own, "run") {
        own.push("run".to_owned());
    }
    let all = |words: &[String]| words.iter().all(|word| has(&own, word));
    let by_id =
        known_codes().iter().filter(|known| all(&known.id)).max_by_key(|known| known.id.len());
    // Or all words of its name in some language; a single short word may be part of anything.
    let by_name = || {
        let names = known_codes()
            .iter()
            .flat_map(|known| known.names.iter().map(move |name| (known, name)));
        let whole =
            names.filter(|(_, name)| all(name) && (name.len() > 1 || name.concat().len() > 4));
        whole.max_by_key(|(_, name)| name.len()).map(|(known, _)| known)
    };
    let best = match by_id.or_else(by_name) {
        Some(known) => known.code,
        None => by_synonym(text)?,
    };
    let values = best.characterisation.iter().map_while(|place| {
        let found = place.values.iter().find(|value| all(&vocabulary::words(&value.value)));
        found.map(|value| value.value.as_str())
    });
    Some((best, values.collect()))
}
