//! Checks the specification: every chapter is in the table of contents and linked, each block of
//! JSON is valid as its comment states, each requirement names who is bound, and the rules and
//! schemas named exist.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

#[path = "support/chapters.rs"]
mod chapters;
mod support;

use std::collections::BTreeSet;

use chapters::chapters;
use serde_json::Value;
use support::{read, root};

/// The chapters that a chapter links to.
fn linked(path: &str, text: &str) -> Vec<String> {
    let targets = chapters::links(text).map(|link| chapters::target(path, link).0);
    targets.filter(|file| file != path && file.ends_with(".md")).collect()
}

/// The table of contents has exactly the chapters, without duplicates.
#[test]
fn the_table_of_contents_is_complete() {
    let chapters = chapters();
    let listed = chapters::in_order();
    let unique: BTreeSet<&str> = listed.iter().map(String::as_str).collect();
    assert_eq!(listed.len(), unique.len(), "a duplicate chapter");
    let there: BTreeSet<&str> =
        chapters.keys().map(String::as_str).filter(|name| *name != "SUMMARY.md").collect();
    assert_eq!(unique, there);
    let book = read("spec/book.toml");
    assert!(book.contains("src = \".\""), "{book}");
}

/// A rule names the chapter of its clause without the folder, so no two chapters share a name.
#[test]
fn chapters_have_names_of_their_own() {
    let names: Vec<String> = chapters()
        .keys()
        .filter_map(|path| path.rsplit('/').next())
        .filter(|name| *name != "README.md")
        .map(str::to_owned)
        .collect();
    let unique: BTreeSet<&String> = names.iter().collect();
    assert_eq!(names.len(), unique.len(), "{names:?}");
}

/// Links lead from the first page to every chapter.
#[test]
fn every_chapter_is_reached_from_the_first_page() {
    let chapters = chapters();
    let mut seen = BTreeSet::from(["README.md".to_owned()]);
    let mut open = vec!["README.md".to_owned()];
    while let Some(name) = open.pop() {
        for next in linked(&name, &chapters[&name]) {
            // An mdBook makes no page of its table of contents.
            assert_ne!(next, "SUMMARY.md", "{name} links to the table of contents");
            if seen.insert(next.clone()) {
                open.push(next);
            }
        }
    }
    let lost: Vec<&String> =
        chapters.keys().filter(|name| *name != "SUMMARY.md" && !seen.contains(*name)).collect();
    assert_eq!(lost, Vec::<&String>::new());
}

/// Each part states its scope, its dependencies and its normative references.
#[test]
fn each_part_opens_with_its_scope() {
    let chapters = chapters();
    for part in ["format", "formats", "codes", "checking"] {
        let text = &chapters[&format!("{part}/README.md")];
        for heading in ["Scope", "Depends on", "Normative references"] {
            assert!(text.contains(&format!("\n## {heading}\n")), "{part}: {heading}");
        }
    }
}

/// A block of JSON in a chapter, with the object that the comment above it names.
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
                    inside = Some(Block {
                        chapter: chapter.clone(),
                        line: number + 1,
                        of: of.take(),
                        json: String::new(),
                    });
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

/// Fences open and close at the beginning of a line, as Markdown requires.
#[test]
fn fences_are_at_the_beginning_of_a_line() {
    for (chapter, text) in chapters() {
        let mut open = false;
        for (number, line) in text.lines().enumerate() {
            if line.contains("```") {
                let rest = line
                    .strip_prefix("```")
                    .unwrap_or_else(|| panic!("{chapter}:{}: {line}", number + 1));
                assert_eq!(
                    rest.is_empty(),
                    open,
                    "{chapter}:{}: a fence inside a block",
                    number + 1
                );
                open = !open;
            }
        }
        assert!(!open, "{chapter}: a block without an end");
    }
}

/// The schema of an object of a schema file, alone.
fn schema_of(file: &str, object: &str) -> Value {
    let mut schema: Value =
        serde_json::from_str(&read(&format!("schema/{file}.schema.json"))).expect("schema");
    let root = match file {
        "document" => "Document",
        "code-list" => "CodeList",
        "grade-scheme" => "GradeScheme",
        _ => "Profile",
    };
    if object != root {
        let definition =
            schema["$defs"].get(object).unwrap_or_else(|| panic!("no {object} in {file}")).clone();
        let definitions = schema["$defs"].clone();
        schema = definition;
        schema["$defs"] = definitions;
    }
    schema
}

/// Every block of JSON is valid as the object that the comment above it names: by its schema, and a
/// document also by the reader.
#[test]
fn examples_are_valid_as_stated() {
    let blocks = blocks();
    let mut judged = 0;
    for Block { chapter, line, of, json } in &blocks {
        let place = format!("{chapter}:{line}");
        let value: Value =
            serde_json::from_str(json).unwrap_or_else(|error| panic!("{place}: {error}"));
        // A block that begins like a document is one, with or without a comment.
        let of = of.as_deref().or(value.get("obvert").map(|_| "Document"));
        let of = of
            .unwrap_or_else(|| panic!("{place}: name the object above it: <!-- example: Pipe -->"));
        let (file, object) = match of.split_once(' ') {
            Some((file, object)) => (file, object),
            None => ("document", of),
        };
        let validator =
            jsonschema::validator_for(&schema_of(file, object)).expect("the schema compiles");
        let errors: Vec<String> =
            validator.iter_errors(&value).map(|error| format!("{place}: {error}")).collect();
        assert_eq!(errors, Vec::<String>::new());
        if (file, object) == ("document", "Document") {
            obvert::read(json.as_bytes()).unwrap_or_else(|error| panic!("{place}: {error}"));
        }
        judged += 1;
    }
    assert!(judged >= 10, "only {judged} examples");
}

/// The chapter that shows a canonical form and its digest.
const CANONICAL: &str = "format/canonical.md";

/// The digest of the worked example is SHA-256 over the canonical form above it. The expected value
/// is from Python's hashlib.
#[test]
fn the_digest_is_that_of_the_form_above_it() {
    use sha2::Digest;
    let canonical = blocks()
        .into_iter()
        .filter(|block| block.chapter == CANONICAL)
        .nth(1)
        .expect("the second block");
    let hash = sha2::Sha256::digest(canonical.json.trim_end().as_bytes());
    let hex: String = hash.iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(hex, "c942ad8dab3d931094e2ee1f07419c7ffed61777a89aac72f4422ff5478580f4");
    assert!(chapters()[CANONICAL].contains(&format!("Digest: `sha-256:{hex}`")));
}

/// The classes of conformance, and the other documents that requirements bind.
const BOUND: [&str; 9] = [
    "document",
    "reader",
    "writer",
    "converter",
    "checker",
    "code list",
    "grade scheme",
    "profile",
    "layout",
];

/// The key words that the specification uses. The others of RFC 2119 are synonyms of these.
const KEY_WORDS: [&str; 3] = ["MUST", "SHOULD", "MAY"];

fn key_word(text: &str) -> Option<usize> {
    let is_word = |at: usize, word: &str| {
        let letter = |c: char| c.is_alphanumeric();
        !text[..at].ends_with(letter) && !text[at + word.len()..].starts_with(letter)
    };
    KEY_WORDS
        .iter()
        .flat_map(|word| text.match_indices(word).filter(|(at, word)| is_word(*at, word)))
        .map(|(at, _)| at)
        .min()
}

/// Every requirement names who is bound before its key word: in its sentence, or in the line above
/// its list.
#[test]
fn every_requirement_names_who_is_bound() {
    let names_one = |text: &str| BOUND.iter().any(|class| text.to_lowercase().contains(class));
    let (mut requirements, mut wrong) = (0, Vec::new());
    for (path, text) in chapters() {
        if path == "README.md" {
            continue;
        }
        let mut lead = String::new();
        for block in text.split("\n\n") {
            let is_list =
                block.starts_with("- ") || block.starts_with("1. ") || block.starts_with('|');
            let items = block.replace("\n- ", "\n\n").replace("\n| ", "\n\n");
            for item in items.split("\n\n") {
                for sentence in item.replace('\n', " ").split(". ") {
                    let Some(at) = key_word(sentence) else { continue };
                    requirements += 1;
                    if !(names_one(&sentence[..at]) || is_list && names_one(&lead)) {
                        wrong.push(format!("{path}: {sentence}"));
                    }
                    assert!(!path.starts_with("guide/"), "{path} is informative: {sentence}");
                }
            }
            if !is_list {
                lead = block.replace('\n', " ").rsplit(". ").next().unwrap_or_default().to_owned();
            }
            for word in ["SHALL", "REQUIRED", "RECOMMENDED", "OPTIONAL"] {
                assert!(!block.contains(word), "{path}: {word} is a synonym that is not used");
            }
        }
    }
    assert!(wrong.is_empty() && requirements > 80, "{requirements} requirements, {wrong:#?}");
}

/// The first page defines the key words and lists the classes; each class has a section with its
/// requirements.
#[test]
fn the_classes_of_conformance_are_defined() {
    let chapters = chapters();
    let first = &chapters["README.md"];
    assert!(first.contains("BCP 14") && first.contains("RFC 2119") && first.contains("RFC 8174"));
    for (class, home) in [
        ("Document", "format/conformance.md"),
        ("Supplied file", "format/conformance.md"),
        ("Reader", "format/conformance.md"),
        ("Writer", "format/conformance.md"),
        ("Converter", "formats/README.md"),
        ("Checker", "checking/README.md"),
    ] {
        assert!(chapters[home].contains(&format!("\n## {class}\n")), "{class}");
        let anchor = class.to_lowercase().replace(' ', "-");
        assert!(first.contains(&format!("[{class}]({home}#{anchor})")), "{class}");
    }
}

/// A rule that prose links to exists.
#[test]
fn prose_names_rules_that_exist() {
    let known: BTreeSet<&str> = obvert::check::catalogue().iter().map(|rule| rule.name).collect();
    for (chapter, text) in chapters() {
        for name in text.split("rules.md#").skip(1).filter_map(|rest| rest.split(')').next()) {
            assert!(name.starts_with("family-") || known.contains(name), "{chapter}: {name}");
        }
    }
}

/// A rule that another rule or a doubt can silence says exactly when it applies: its text has
/// *Exactly* wherever it has *Exceptions*, and neither repeats the other.
#[test]
fn rules_with_exceptions_are_exact() {
    use obvert::check::Section;
    let inexact: Vec<&str> = obvert::check::catalogue()
        .iter()
        .filter(|rule| {
            let [exceptions, exactly] =
                [Section::Exceptions, Section::Exactly].map(|section| rule.section(section));
            exactly.is_empty() && !exceptions.is_empty()
                || !exactly.is_empty() && exactly == exceptions
                || rule.documentation.matches("# Exactly").count() > 1
        })
        .map(|rule| rule.name)
        .collect();
    assert_eq!(inexact, Vec::<&str>::new());
}

/// The chapter on the canonical form gives this survey as the example of the layout for files.
#[test]
fn the_small_survey_is_in_the_layout_for_files() {
    let text = read("tests/corpus/bases/minimal.obvert.json");
    assert_eq!(
        obvert::to_string(&obvert::read(text.as_bytes()).expect("a survey")).expect("written"),
        text
    );
}

/// A schema has an `$id`, a title, descriptions, and examples that it accepts.
#[test]
fn schemas_describe_themselves() {
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
        let examples =
            schema["examples"].as_array().unwrap_or_else(|| panic!("{name}: no examples"));
        assert!(!examples.is_empty(), "{name}");
        for example in examples {
            let errors: Vec<String> =
                validator.iter_errors(example).map(|error| format!("{name}: {error}")).collect();
            assert_eq!(errors, Vec::<String>::new());
        }
        found += 1;
    }
    assert_eq!(found, 11);
}
