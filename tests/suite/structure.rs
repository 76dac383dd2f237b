//! The part `structure`: sequences of bytes, each with the verdict and the structural problems that every reader and
//! validator must report. `crates/model/tests/corpus.rs` tests the locations.

use std::collections::BTreeSet;

use obvert::check::find;
use obvert::model::read::{self, ReadError};
use serde::Deserialize;
use serde_json::Value;

use crate::found::by_document;
use crate::manifest::{CORPUS, bytes, json};
use crate::support::{obvert_in, root, stderr};

#[derive(Deserialize)]
struct Case {
    file: String,
    verdict: String,
    #[serde(default)]
    problems: Vec<Problem>,
}

#[derive(Deserialize)]
struct Problem {
    kind: String,
    pointer: String,
}

fn cases() -> Vec<Case> {
    serde_json::from_value(json("structure/manifest.json")["cases"].take()).expect("cases")
}

type Problems = BTreeSet<(String, String)>;

fn expected(case: &Case) -> (String, Problems) {
    (
        case.verdict.clone(),
        case.problems.iter().map(|p| (p.kind.clone(), p.pointer.clone())).collect(),
    )
}

#[test]
fn every_document_gets_its_verdict_from_the_library() {
    for case in cases() {
        let verdict = match read::document(&bytes(&format!("structure/{}", case.file))) {
            Ok(_) => ("valid".to_owned(), Problems::new()),
            Err(ReadError::Structure(problems)) => (
                "invalid".to_owned(),
                problems.into_iter().map(|p| (p.kind.to_string(), p.pointer)).collect(),
            ),
            Err(_) => ("not-json".to_owned(), Problems::new()),
        };
        assert_eq!(verdict, expected(&case), "{}", case.file);
    }
}

#[test]
fn every_document_gets_its_verdict_from_the_command() {
    let cases = cases();
    let mut arguments =
        vec!["check", "--from", "json", "--format", "json", "--all", "--today", "2026-06-01"];
    arguments.extend(cases.iter().map(|case| case.file.as_str()));
    let output = obvert_in(&root().join(CORPUS).join("structure"), &arguments);
    let report: Value = serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", stderr(&output)));
    let found = by_document(&report);
    assert_eq!(found.len(), cases.len());
    for ((case, found), document) in
        cases.iter().zip(found).zip(report["documents"].as_array().expect("documents"))
    {
        // The rules check the readable part of an invalid document too.
        let problems: Problems = found
            .into_iter()
            .filter(|found| find(&found.rule).is_none())
            .map(|found| (found.rule, found.pointer))
            .collect();
        let verdict = match (document.get("error").is_some(), problems.is_empty()) {
            (true, _) => "not-json",
            (false, true) => "valid",
            (false, false) => "invalid",
        };
        // A reader rejects a document of an earlier version; the command migrates it.
        if case.file == "unknown-word-version-older.json" {
            assert_eq!((verdict, problems.len()), ("valid", 0), "{}", case.file);
            continue;
        }
        let (expected_verdict, mut expected) = expected(case);
        // A checker reports a misspelt key once, and not the missing key as well.
        let misspelt: BTreeSet<String> = problems
            .iter()
            .filter(|(kind, _)| kind == "unknown-key")
            .filter_map(|(_, pointer)| Some(pointer.rsplit_once('/')?.0.to_owned()))
            .collect();
        expected.retain(|problem| {
            problem.0 != "missing-key"
                || !misspelt.contains(&problem.1)
                || problems.contains(problem)
        });
        assert_eq!((verdict.to_owned(), problems), (expected_verdict, expected), "{}", case.file);
    }
}
