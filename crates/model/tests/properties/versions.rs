//! Every document of every older version can be migrated without loss. Documents are generated from
//! the released schemas.

use obvert_model::versions::{self, KNOWN, STEPS};
use obvert_model::{edit, read};
use proptest::prelude::*;
use proptest::strategy::Union;
use serde_json::Value;

use super::generate;

/// A document of some older version.
fn older() -> impl Strategy<Value = (&'static str, Value)> {
    let older = KNOWN.iter().filter(|version| **version != versions::CURRENT);
    Union::new(older.map(|version| {
        let schema = versions::schema(version).expect("a known version");
        generate::document_of(&schema).prop_map(move |document| (*version, document)).boxed()
    }))
}

/// The edit that reverses another one.
fn back(edit: &edit::Edit, before: &Value) -> edit::Edit {
    match edit {
        edit::Edit::Move { from, path } => edit::Edit::relocate(path, from),
        edit::Edit::Replace { path, .. } => {
            edit::Edit::replace(path, before.pointer(path).expect("it was there").clone())
        }
        other => panic!("steps so far only move and replace: {other:?}"),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn every_older_document_migrates((version, before) in older()) {
        let text = serde_json::to_string_pretty(&before).unwrap();
        let old_reader = read::document(text.as_bytes());
        prop_assert!(old_reader.is_err(), "read by another version's schema");
        let migrated = versions::migrate(text.as_bytes(), versions::CURRENT).map_err(|e| TestCaseError::fail(e.to_string()))?;
        prop_assert_eq!(migrated.from, version);
        read::document(migrated.text.as_bytes()).map_err(|e| TestCaseError::fail(e.to_string()))?;
        // Lossless steps can be reversed.
        prop_assert!(migrated.steps.iter().all(|step| step.lossless));
        let undo: Vec<edit::Edit> =
            migrated.steps.iter().rev().flat_map(|step| step.edits.iter().rev()).map(|edit| back(edit, &before)).collect();
        prop_assert_eq!(edit::text(&migrated.text, &undo).unwrap(), text);
        let again = versions::migrate(migrated.text.as_bytes(), versions::CURRENT).unwrap();
        prop_assert!(again.steps.is_empty() && again.text == migrated.text);
    }
}

#[test]
fn names_of_steps_are_permanent() {
    // Names are in logs and keep their meaning: only add to this list.
    let names: Vec<&str> = STEPS.iter().map(|step| step.name).collect();
    assert_eq!(
        names,
        ["counter-check-known", "weather-recent-rain", "schema-address-0.2", "version-0.2"]
    );
}
