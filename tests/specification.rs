//! The specification as a book that somebody implements from: every chapter is in the table of contents and reachable, what it shows
//! as JSON is what it says it is, and what it says that rules and schemas are is there.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;
use support::{read, root};

/// Every chapter, by its file's name.
fn chapters() -> BTreeMap<String, String> {
    let mut chapters = BTreeMap::new();
    for entry in std::fs::read_dir(root().join("spec")).expect("spec") {
        let name = entry.expect("entry").file_name().to_string_lossy().into_owned();
        if name.ends_with(".md") {
            let text = read(&format!("spec/{name}"));
            chapters.insert(name, text);
        }
    }
    chapters
}

/// The files that a chapter links to.
fn linked(text: &str) -> Vec<&str> {
    let targets = text.split("](").skip(1).filter_map(|rest| rest.split(')').next());
    targets.filter_map(|target| target.split('#').next()).filter(|file| file.ends_with(".md")).collect()
}

/// The table of contents has every chapter once, and nothing else.
#[test]
fn the_table_of_contents_is_whole() {
    let chapters = chapters();
    let listed = linked(&chapters["SUMMARY.md"]);
    let unique: BTreeSet<&str> = listed.iter().copied().collect();
    assert_eq!(listed.len(), unique.len(), "a chapter stands twice");
    let there: BTreeSet<&str> = chapters.keys().map(String::as_str).filter(|name| *name != "SUMMARY.md").collect();
    assert_eq!(unique, there);
    let book = read("spec/book.toml");
    assert!(book.contains("src = \".\""), "{book}");
}

/// Somebody who reads plain Markdown from the first page on comes to every chapter.
#[test]
fn every_chapter_is_reached_from_the_first_page() {
    let chapters = chapters();
    let mut seen = BTreeSet::from(["README.md"]);
    let mut open = vec!["README.md"];
    while let Some(name) = open.pop() {
        for next in linked(&chapters[name]) {
            // An mdBook makes no page of its table of contents.
            assert_ne!(next, "SUMMARY.md", "{name} links to the table of contents");
            if seen.insert(next) {
                open.push(next);
            }
        }
    }
    let lost: Vec<&String> =
        chapters.keys().filter(|name| *name != "SUMMARY.md" && !seen.contains(name.as_str())).collect();
    assert_eq!(lost, Vec::<&String>::new());
}

/// A block of JSON in a chapter with what the comment above it says that it is.
struct Block {
    chapter: String,
    line: usize,
    of: Option<String>,
    json: String,
}

fn blocks() -> Vec<Block> {
    let mut blocks = Vec::new();
    for (chapter, text) in chapters() {
        let (mut of, mut inside): (Option<String>, Option<Block>) = (None, None);
        for (number, line) in text.lines().enumerate() {
            match &mut inside {
                None if line == "```json" => {
                    inside =
                        Some(Block { chapter: chapter.clone(), line: number + 1, of: of.take(), json: String::new() });
                }
                None if line.starts_with("<!-- example: ") => {
                    of = line
                        .strip_prefix("<!-- example: ")
                        .and_then(|rest| rest.strip_suffix(" -->"))
                        .map(str::to_owned);
                }
                None => {}
                Some(_) if line == "```" => blocks.extend(inside.take()),
                Some(block) => {
                    block.json.push_str(line);
                    block.json.push('\n');
                }
            }
        }
        assert!(inside.is_none(), "{chapter}: a block without an end");
    }
    blocks
}

/// Fences open and close at the beginning of a line, or a reader of Markdown takes what follows for something else.
#[test]
fn fences_stand_at_the_beginning_of_a_line() {
    for (chapter, text) in chapters() {
        let mut open = false;
        for (number, line) in text.lines().enumerate() {
            if line.contains("```") {
                let rest = line.strip_prefix("```").unwrap_or_else(|| panic!("{chapter}:{}: {line}", number + 1));
                assert_eq!(rest.is_empty(), open, "{chapter}:{}: a fence inside a block", number + 1);
                open = !open;
            }
        }
        assert!(!open, "{chapter}: a block without an end");
    }
}

/// The schema of an object of a schema file, alone.
fn schema_of(file: &str, object: &str) -> Value {
    let mut schema: Value = serde_json::from_str(&read(&format!("schema/{file}.schema.json"))).expect("schema");
    let root = match file {
        "document" => "Document",
        "code-list" => "CodeList",
        "grade-scheme" => "GradeScheme",
        _ => "Profile",
    };
    if object != root {
        let definition = schema["$defs"].get(object).unwrap_or_else(|| panic!("no {object} in {file}")).clone();
        let definitions = schema["$defs"].clone();
        schema = definition;
        schema["$defs"] = definitions;
    }
    schema
}

/// Every block of JSON is JSON, and what is said to be a document, or an object of one, is that: by its schema and, where it is
/// a whole document, by the reader.
#[test]
fn examples_are_what_they_say() {
    let blocks = blocks();
    let mut judged = 0;
    for Block { chapter, line, of, json } in &blocks {
        // The examples of rules run as tests of their own.
        if chapter == "rules.md" {
            continue;
        }
        let place = format!("{chapter}:{line}");
        let value: Value = serde_json::from_str(json).unwrap_or_else(|error| panic!("{place}: {error}"));
        // A block that begins as a document does is one, whether it says so or not.
        let of = of.as_deref().or(value.get("obvert").map(|_| "Document"));
        let of = of.unwrap_or_else(|| panic!("{place}: say above it what it is: <!-- example: Pipe -->"));
        let (file, object) = match of.split_once(' ') {
            Some((file, object)) => (file, object),
            None => ("document", of),
        };
        let validator = jsonschema::validator_for(&schema_of(file, object)).expect("the schema compiles");
        let errors: Vec<String> = validator.iter_errors(&value).map(|error| format!("{place}: {error}")).collect();
        assert_eq!(errors, Vec::<String>::new());
        if (file, object) == ("document", "Document") {
            obvert::read(json.as_bytes()).unwrap_or_else(|error| panic!("{place}: {error}"));
        }
        judged += 1;
    }
    assert!(judged >= 10, "only {judged} examples");
}

/// The digest of the worked example is SHA-256 over the canonical form that is printed above it. The value itself: Python's hashlib
/// over those bytes.
#[test]
fn the_digest_is_that_of_the_form_above_it() {
    use sha2::Digest;
    let canonical =
        blocks().into_iter().filter(|block| block.chapter == "canonical.md").nth(1).expect("the second block");
    let hash = sha2::Sha256::digest(canonical.json.trim_end().as_bytes());
    let hex: String = hash.iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(hex, "c942ad8dab3d931094e2ee1f07419c7ffed61777a89aac72f4422ff5478580f4");
    assert!(read("spec/canonical.md").contains(&format!("Digest: `sha-256:{hex}`")));
}

/// The key words of RFC 2119 stand in capitals where they are meant, and the chapter that says so is there.
#[test]
fn what_binds_is_said_in_capitals() {
    let chapters = chapters();
    assert!(chapters["conformance.md"].contains("RFC 2119") && chapters["conformance.md"].contains("RFC 8174"));
    for class in ["Document", "Reader", "Writer", "Validator", "Converter"] {
        assert!(chapters["conformance.md"].contains(&format!("\n## {class}\n")), "{class}");
    }
}

/// Whatever stands in backticks as a rule's link is a rule: prose names none that is not there.
#[test]
fn prose_names_rules_that_exist() {
    let known: BTreeSet<&str> = obvert::check::catalogue().iter().map(|rule| rule.name).collect();
    for (chapter, text) in chapters() {
        for name in text.split("](rules.md#").skip(1).filter_map(|rest| rest.split(')').next()) {
            let section = name.starts_with("family-") || name == "the-small-valid-survey";
            assert!(section || known.contains(name), "{chapter}: {name}");
        }
    }
}

/// A schema can be found by its `$id`, says what it is, and shows an example that it accepts itself.
#[test]
fn schemas_say_what_they_are() {
    let mut found = 0;
    for entry in std::fs::read_dir(root().join("schema")).expect("schema") {
        let name = entry.expect("entry").file_name().to_string_lossy().into_owned();
        if !name.ends_with(".schema.json") {
            continue;
        }
        let schema: Value = serde_json::from_str(&read(&format!("schema/{name}"))).expect("json");
        assert_eq!(schema["$id"], format!("{}{name}", obvert::model::schema::BASE), "{name}");
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema", "{name}");
        for key in ["title", "description"] {
            assert!(schema[key].as_str().is_some_and(|text| !text.is_empty()), "{name}: {key}");
        }
        for (object, definition) in schema["$defs"].as_object().into_iter().flatten() {
            assert!(definition["description"].is_string(), "{name}: {object} has no description");
            for (key, field) in definition["properties"].as_object().into_iter().flatten() {
                let described = field["description"].is_string();
                assert!(described, "{name}: {object}.{key} has no description");
            }
        }
        let validator = jsonschema::validator_for(&schema).expect("the schema compiles");
        let examples = schema["examples"].as_array().unwrap_or_else(|| panic!("{name}: no examples"));
        assert!(!examples.is_empty(), "{name}");
        for example in examples {
            let errors: Vec<String> = validator.iter_errors(example).map(|error| format!("{name}: {error}")).collect();
            assert_eq!(errors, Vec::<String>::new());
        }
        found += 1;
    }
    assert_eq!(found, 11);
}
