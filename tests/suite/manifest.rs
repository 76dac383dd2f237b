//! The manifests of the suite, read as other implementations read them, and validated with their schema.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::support::{read, root};

/// Where the suite is.
pub(crate) const CORPUS: &str = "tests/corpus";

/// A JSON file of the suite.
pub(crate) fn json(path: &str) -> Value {
    let path = format!("{CORPUS}/{path}");
    serde_json::from_str(&read(&path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// The bytes of a file of the suite.
pub(crate) fn bytes(path: &str) -> Vec<u8> {
    let path = root().join(CORPUS).join(path);
    std::fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Whether derived parts are rewritten.
pub(crate) fn blessing() -> bool {
    std::env::var_os("OBVERT_BLESS").is_some()
}

/// Compares a file of the suite with the expected text, or rewrites it.
pub(crate) fn hold(path: &str, content: &str) -> Option<String> {
    let file = root().join(CORPUS).join(path);
    if std::fs::read_to_string(&file).is_ok_and(|current| current == content) {
        return None;
    }
    if blessing() {
        std::fs::write(&file, content).expect("write");
        return None;
    }
    Some(format!("{path} is not fresh, run `OBVERT_BLESS=1 cargo test --test suite`"))
}

/// The manifests, by their paths in the suite.
pub(crate) fn paths() -> Vec<String> {
    let mut paths = Vec::new();
    for part in ["structure", "rules", "formats", "grades", "vectors", "canonical"] {
        let Ok(entries) = std::fs::read_dir(root().join(CORPUS).join(part)) else { continue };
        for entry in entries {
            let name = entry.expect("entry").file_name().into_string().expect("a name");
            let is_manifest =
                if part == "rules" { name.ends_with(".json") } else { name == "manifest.json" };
            if is_manifest {
                paths.push(format!("{part}/{name}"));
            }
        }
    }
    paths.sort();
    paths
}

#[test]
fn manifests_are_valid() {
    let schema = json("manifest.schema.json");
    let validator =
        jsonschema::draft202012::new(&schema).expect("the schema of manifests is a schema");
    let mut wrong = Vec::new();
    for path in paths() {
        let manifest = json(&path);
        assert!(
            path.starts_with(manifest["part"].as_str().expect("a part")),
            "{path} is of another part"
        );
        for error in validator.iter_errors(&manifest).take(3) {
            wrong.push(format!("{path}{}: {error}", error.instance_path()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!(
        paths().iter().filter_map(|path| path.split('/').next()).collect::<BTreeSet<_>>().len(),
        6
    );
}

/// A manifest with a typing error is invalid: the schema allows no unknown keys.
#[test]
fn a_manifest_with_a_typing_error_is_invalid() {
    let schema = json("manifest.schema.json");
    let validator =
        jsonschema::draft202012::new(&schema).expect("the schema of manifests is a schema");
    for path in paths() {
        let mut surplus = json(&path);
        surplus["cases"][0]["expected"] = Value::Bool(true);
        assert!(!validator.is_valid(&surplus), "{path}: an unknown key of a case passes");
        let mut nameless = json(&path);
        nameless["cases"][0].as_object_mut().expect("a case").remove("id");
        assert!(!validator.is_valid(&nameless), "{path}: a case without an id passes");
    }
}

#[test]
fn ids_are_unique() {
    let mut ids = BTreeSet::new();
    for path in paths() {
        for case in json(&path)["cases"].as_array().expect("cases") {
            let id = case["id"].as_str().unwrap_or_else(|| panic!("{path}: a case without an id"));
            assert!(ids.insert(id.to_owned()), "{path}: {id} is a duplicate");
        }
    }
}
