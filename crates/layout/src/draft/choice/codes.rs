//! An office's words for codes of the project's own list.

use std::sync::OnceLock;

use obvert_model::lists::{Code, CodeList};

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
    let best = by_id.or_else(by_name)?.code;
    let values = best.characterisation.iter().map_while(|place| {
        let found = place.values.iter().find(|value| all(&vocabulary::words(&value.value)));
        found.map(|value| value.value.as_str())
    });
    Some((best, values.collect()))
}
