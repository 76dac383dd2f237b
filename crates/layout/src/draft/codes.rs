//! The codes of a draft: those of the table where it holds some of a list, or the words of the table with the codes that they are taken for.

use std::sync::OnceLock;

use obvert_model::lists::{Code, CodeList};
use serde_json::{Value, json};

use super::choose::lines;
use super::fill::Table;
use super::form::Form;
use super::words;

impl Table<'_> {
    /// The code columns: the words of the table with the codes that they are taken for, or nothing where the table holds codes; and the
    /// list that they are of.
    pub(super) fn codes(&self, open: &mut Vec<String>) -> (Option<Value>, &'static CodeList) {
        let (terms, en) = (CodeList::obvert_terms(), CodeList::en_13508_2());
        let Some(column) = self.column_of("codes") else { return (None, terms) };
        let values = &self.columns[column].look.distinct;
        let strange = |list: &CodeList| -> Vec<(String, usize)> {
            let strange = values.iter().filter(|(value, _)| !list.codes.iter().any(|code| *code.code == **value));
            strange.cloned().collect()
        };
        for list in [terms, en] {
            let strange = strange(list);
            // Most are codes of the list: the others are mistakes in the table, which the checker finds.
            if !values.is_empty() && strange.len() * 3 <= values.len() {
                if !strange.is_empty() {
                    let heading = &self.columns[column].heading;
                    open.push(format!(
                        "{heading:?}: the codes are taken for those of {}, and {}",
                        list.id,
                        lines(&strange)
                    ));
                }
                return (None, list);
            }
        }
        // A code of three letters that the list does not have is a mistake in the table as well.
        if self.look(column).has(&Form::Letters3) {
            return (None, en);
        }
        let detail = self.column_of("codes.detail");
        let mut seen: Vec<(Vec<String>, usize)> = Vec::new();
        for row in self.rows {
            let text = |column: usize| row.cells.get(self.cells[column]).map_or("", |cell| cell.text.trim()).to_owned();
            let mut words = vec![text(column)];
            words.extend(detail.map(text).filter(|text| !text.is_empty()));
            if !words[0].is_empty() && !seen.iter().any(|(other, _)| *other == words) {
                seen.push((words, row.line));
            }
        }
        let mut entries = Vec::new();
        for (words, line) in seen {
            match coded(&words.join(" ")) {
                Some((code, characterisation)) => {
                    let mut entry = json!({"words": words, "code": code.code.as_str()});
                    if !characterisation.is_empty() {
                        entry["characterisation"] = characterisation.into();
                    }
                    entries.push(entry);
                }
                None => open
                    .push(format!("line {line}: no code is known for {:?}; add one to codes.words", words.join(", "))),
            }
        }
        let mut columns = vec![self.columns[column].heading.clone()];
        columns.extend(detail.map(|detail| self.columns[detail].heading.clone()));
        (Some(json!({"columns": columns, "words": entries})), terms)
    }
}

/// A code of the project's own list, with the words of its id and of its names in all languages.
struct Known {
    code: &'static Code,
    id: Vec<String>,
    names: Vec<Vec<String>>,
}

/// The codes of the project's own list. Many texts are held against them.
fn known_codes() -> &'static [Known] {
    static CODES: OnceLock<Vec<Known>> = OnceLock::new();
    CODES.get_or_init(|| {
        let known = |code: &'static Code| Known {
            code,
            id: words::words(&code.code),
            names: code.label.values().map(|name| words::known(name)).collect(),
        };
        CodeList::obvert_terms().codes.iter().map(known).collect()
    })
}

/// Whether a code is known for a text.
pub(super) fn is_known(text: &str) -> bool {
    coded(text).is_some()
}

/// The code that words are most likely for: all words of its id stand among them, and the more the better.
fn coded(text: &str) -> Option<(&'static Code, Vec<String>)> {
    let mut own = words::known(text);
    let has = |own: &[String], word: &str| own.iter().any(|own| own == word);
    // Nobody says of what a start is the start, and only a run is given up.
    let alone = own.len() == 1 && ["start", "finish"].contains(&own[0].as_str());
    if (alone || has(&own, "stopped")) && !has(&own, "run") {
        own.push("run".to_owned());
    }
    let all = |words: &[String]| words.iter().all(|word| has(&own, word));
    let by_id = known_codes().iter().filter(|known| all(&known.id)).max_by_key(|known| known.id.len());
    // Or all words of its name in some language; a short one alone may be part of anything.
    let by_name = || {
        let names = known_codes().iter().flat_map(|known| known.names.iter().map(move |name| (known, name)));
        let whole = names.filter(|(_, name)| all(name) && (name.len() > 1 || name.concat().len() > 4));
        whole.max_by_key(|(_, name)| name.len()).map(|(known, _)| known)
    };
    let best = by_id.or_else(by_name)?.code;
    let characterisation = best
        .characterisation
        .iter()
        .map_while(|place| {
            let found = place.values.iter().find(|value| all(&words::words(&value.value)));
            found.map(|value| value.value.to_string())
        })
        .collect();
    Some((best, characterisation))
}
