//! The tables can be found in rustdoc by the trade's synonyms: every `doc(alias)` is a word of
//! `synonyms.json`, so that the search in the documentation and `explain` know the same words.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use obvert_model::synonyms;

/// The aliases in a source file, by the name of the type, field or word that has them.
fn aliases(source: &str) -> BTreeMap<String, Vec<String>> {
    let mut found: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut pending = Vec::new();
    for line in source.lines().map(str::trim) {
        if let Some(alias) = line.strip_prefix("#[doc(alias = \"") {
            pending.push(alias.trim_end_matches("\")]").to_owned());
        } else if !pending.is_empty() && !line.starts_with("#[") {
            let name = line.trim_start_matches("pub ").trim_start_matches("complete ");
            let name: String =
                name.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            found.entry(name).or_default().append(&mut pending);
        }
    }
    found
}

#[test]
fn aliases_are_synonyms_of_the_trade() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/tables");
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        all.extend(aliases(&fs::read_to_string(entry.unwrap().path()).unwrap()));
    }
    for (name, words) in &all {
        for word in words {
            assert!(
                synonyms::of(word).next().is_some(),
                "{name}: no synonym {word:?} in data/synonyms.json"
            );
        }
    }
    for table in [
        "Party",
        "Equipment",
        "Structure",
        "Pipe",
        "Run",
        "Observation",
        "Media",
        "Locate",
        "Rating",
    ] {
        assert!(all.contains_key(table), "{table} has no alias");
    }
    assert!(
        all["Run"].contains(&"inspection".to_owned())
            && all["Locate"].contains(&"sonde".to_owned())
    );
}
