//! The structural corpus (`tests/corpus/structure` of the repository): documents with the expected
//! verdict and problems of every reader of the format. Tests in other languages read the same
//! manifest.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use obvert_model::read::{self, Problem, ProblemKind, ReadError};
use obvert_model::shape::{self, Shape};
use obvert_model::tables::Document;
use obvert_model::write;
use serde_json::Value;

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    id: String,
    file: String,
    about: String,
    verdict: Verdict,
    schema: Option<String>,
    #[serde(default)]
    problems: Vec<Expected>,
    error: Option<String>,
}

#[derive(serde::Deserialize, PartialEq, Clone, Copy)]
#[serde(rename_all = "kebab-case")]
enum Verdict {
    Valid,
    Invalid,
    NotJson,
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Expected {
    kind: String,
    pointer: String,
    /// The text that begins at the reported location.
    at: String,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/corpus/structure")
}

fn cases() -> Vec<Case> {
    let mut manifest: Value =
        serde_json::from_slice(&fs::read(folder().join("manifest.json")).unwrap()).unwrap();
    serde_json::from_value(manifest["cases"].take()).unwrap()
}

fn source(case: &Case) -> Vec<u8> {
    fs::read(folder().join(&case.file)).unwrap()
}

/// The text at a line and column, both from 1, columns in characters without a byte-order mark.
fn text_at(source: &[u8], line: usize, column: usize) -> String {
    let text = String::from_utf8(source.to_vec()).unwrap();
    let text = text.strip_prefix('\u{FEFF}').unwrap_or(&text);
    let from_line: Vec<&str> = text.split('\n').skip(line - 1).collect();
    from_line.join("\n").chars().skip(column - 1).collect()
}

fn shown(problems: &[Problem]) -> String {
    problems.iter().map(|p| format!("  {} {p}\n", p.kind)).collect()
}

#[test]
fn every_document_gets_its_verdict() {
    let mut wrong = String::new();
    for case in cases() {
        let source = source(&case);
        let complaint = match (case.verdict, read::document(&source)) {
            (Verdict::Valid, Ok(_)) => None,
            (Verdict::Invalid, Err(ReadError::Structure(problems))) => {
                mismatch(&case, &source, &problems)
            }
            (Verdict::NotJson, Err(error)) => {
                let kind = match error {
                    ReadError::Empty => "empty",
                    ReadError::Encoding { .. } => "encoding",
                    ReadError::Syntax { .. } => "syntax",
                    _ => "other",
                };
                (Some(kind) != case.error.as_deref()).then(|| format!("{kind}: {error}"))
            }
            (_, Ok(_)) => Some("was read".to_owned()),
            (_, Err(error)) => Some(format!("{error}\n{}", shown(error.problems()))),
        };
        if let Some(complaint) = complaint {
            wrong.push_str(&format!("{} ({}): {complaint}\n", case.file, case.about));
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

fn mismatch(case: &Case, source: &[u8], problems: &[Problem]) -> Option<String> {
    let mut expected: Vec<(&str, &str)> =
        case.problems.iter().map(|p| (p.kind.as_str(), p.pointer.as_str())).collect();
    let mut found: Vec<(&str, &str)> =
        problems.iter().map(|p| (p.kind.as_str(), p.pointer.as_str())).collect();
    expected.sort_unstable();
    found.sort_unstable();
    if expected != found {
        return Some(format!("expected {expected:?}, found\n{}", shown(problems)));
    }
    for problem in problems {
        let text = text_at(source, problem.line, problem.column);
        let expected = case
            .problems
            .iter()
            .find(|p| p.kind == problem.kind.as_str() && p.pointer == problem.pointer)?;
        if !text.starts_with(&expected.at) {
            let text: String = text.chars().take(40).collect();
            return Some(format!("{problem}\n  is at {text:?}, expected {:?}", expected.at));
        }
    }
    let in_order =
        problems.windows(2).all(|two| (two[0].line, two[0].column) <= (two[1].line, two[1].column));
    (!in_order).then(|| format!("not in the order of the source:\n{}", shown(problems)))
}

#[test]
fn the_manifest_and_the_folder_agree() {
    let listed: BTreeSet<String> = cases().into_iter().map(|case| case.file).collect();
    let there: BTreeSet<String> = fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name != "manifest.json")
        .collect();
    assert_eq!(listed, there);
    for case in cases() {
        assert_eq!(
            Some(case.id.as_str()),
            case.file.strip_suffix(".json").map(|stem| format!("structure/{stem}")).as_deref()
        );
        assert!(!case.about.is_empty() && !case.about.ends_with('.'), "{}", case.file);
        assert_eq!(case.verdict == Verdict::Invalid, !case.problems.is_empty(), "{}", case.file);
        assert_eq!(case.verdict == Verdict::NotJson, case.error.is_some(), "{}", case.file);
        // A plain schema validator cannot detect duplicate keys and ids, but must detect everything
        // else.
        let expected = match case.verdict {
            Verdict::NotJson => None,
            Verdict::Valid => Some("valid"),
            Verdict::Invalid => {
                Some(if case.problems.iter().all(|p| p.kind.starts_with("duplicate-")) {
                    "valid"
                } else {
                    "invalid"
                })
            }
        };
        assert_eq!(case.schema.as_deref(), expected, "{}", case.file);
    }
}

#[test]
fn every_kind_of_problem_has_several_cases() {
    let cases = cases();
    // Orphan and duplicate rows occur only in tables; in JSON every row is inside its parent.
    let of_tables = [ProblemKind::OrphanRow, ProblemKind::DuplicateRow];
    for kind in ProblemKind::ALL.iter().filter(|kind| !of_tables.contains(kind)) {
        let of_kind =
            cases.iter().filter(|case| case.problems.iter().any(|p| p.kind == kind.as_str()));
        assert!(of_kind.count() >= 5, "{kind}");
    }
}

#[test]
fn messages_give_advice_in_one_style() {
    for case in cases() {
        let Err(error) = read::document(&source(&case)) else { continue };
        let whole = error.to_string();
        if let ReadError::Syntax { line, column, message } = &error {
            assert!(*line > 0 && *column > 0, "{}: {whole}", case.file);
            assert!(!message.starts_with(char::is_uppercase), "{}: {whole}", case.file);
        }
        assert!(!whole.ends_with('.') && !whole.contains('\n'), "{}: {whole}", case.file);
        for problem in error.problems() {
            let message = &problem.message;
            let first = message.chars().next().unwrap();
            assert!(!first.is_uppercase() && !message.ends_with('.'), "{}: {message}", case.file);
            assert!(message.chars().count() < 400, "{}: {message}", case.file);
        }
    }
}

#[test]
fn near_spellings_are_suggested() {
    for (file, pointer, suggestion) in [
        ("unknown-key-top.json", "/unit", Some("units")),
        ("unknown-key-case.json", "/runs/0/observations/1/Clock", Some("clock")),
        ("unknown-key-by-escape.json", "/pipes/0/lenght", Some("length")),
        ("unknown-key-behind-early-runs.json", "/pipez", Some("pipes")),
        ("unknown-key-several.json", "/runs/0/counter/checks/0/knows", Some("known")),
        ("unknown-key-empty.json", "/", None),
        ("unknown-word-spelling.json", "/structures/0/kind", Some("manhole")),
        ("unknown-word-spelling.json", "/structures/1/kind", Some("manhole")),
        ("unknown-word-run.json", "/runs/0/method", None),
        // Another version is not a spelling mistake.
        ("unknown-word-version.json", "/obvert", None),
    ] {
        let error = read::document(&fs::read(folder().join(file)).unwrap()).unwrap_err();
        let problem = error.problems().iter().find(|p| p.pointer == pointer).unwrap();
        assert_eq!(problem.suggestion.as_deref(), suggestion, "{file}");
    }
}

#[test]
fn valid_documents_round_trip() {
    for case in cases().into_iter().filter(|case| case.verdict == Verdict::Valid) {
        let source = source(&case);
        let document = read::document(&source).unwrap();
        let written = write::to_string(&document).unwrap();
        assert_eq!(read::document(written.as_bytes()).unwrap(), document, "{}", case.file);
        let plain = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(&source);
        assert_eq!(serde_json::from_slice::<Document>(plain).unwrap(), document, "{}", case.file);
        let value: Value = serde_json::from_slice(plain).unwrap();
        assert_eq!(read::value_problems(&value), [], "{}", case.file);
        assert_eq!(serde_json::from_value::<Document>(value).unwrap(), document, "{}", case.file);
    }
}

/// A new field of the format has to be added to this document, or it is not tested.
#[test]
fn one_valid_document_has_every_field() {
    fn visit(value: &Value, object: &str, missing: &mut BTreeSet<String>) {
        for field in &shape::object(object).fields {
            if let Some(inner) = value.get(&field.name) {
                missing.remove(&format!("{object}.{}", field.name));
                below(inner, &field.shape, missing);
            }
        }
    }
    fn below(value: &Value, shape: &Shape, missing: &mut BTreeSet<String>) {
        match shape {
            Shape::Object(name) => visit(value, name, missing),
            Shape::List(item) => {
                value.as_array().into_iter().flatten().for_each(|value| below(value, item, missing))
            }
            _ => {}
        }
    }
    let fields = |object: &'static shape::ObjectShape| {
        object
            .fields
            .iter()
            .map(|field| format!("{}.{}", object.name, field.name))
            .collect::<Vec<_>>()
    };
    let mut missing: BTreeSet<String> = shape::objects().flat_map(fields).collect();
    assert!(missing.len() > 150, "{}", missing.len());
    let value: Value =
        serde_json::from_slice(&fs::read(folder().join("valid-every-field.json")).unwrap())
            .unwrap();
    visit(&value, "Document", &mut missing);
    assert_eq!(missing, BTreeSet::new());
}
