//! The catalogue agrees with its documentation: every failing example has a finding at the named
//! pointer, every passing example has none, and the declarations are well-formed.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::BTreeSet;

use obvert_check::files::Files;
use obvert_check::{
    Checker, Example, MINIMAL, MINIMAL_FILES, Need, Report, Rule, Section, Settings, catalogue,
    find,
};
use obvert_model::profile::Profile;
use serde_json::Value;

/// The day on which the examples are checked.
const TODAY: &str = "2026-06-01";

/// A check of a document that may have a key `files`, with what was found in its folder.
fn check(document: &Value, rule: Option<&Rule>) -> Report {
    let mut document = document.clone();
    let files = document.as_object_mut().and_then(|document| document.remove("files"));
    let files: Option<Files> = files
        .map(|files| serde_json::from_value(files).unwrap_or_else(|e| panic!("{rule:?}: {e}")));
    let document = &document;
    let profile = rule.and_then(Rule::profile).map(|text| {
        Profile::read(text.as_bytes()).unwrap_or_else(|error| panic!("{rule:?}: {error} in {text}"))
    });
    let settings =
        Settings::default().with_profile(profile).with_today(TODAY.parse().expect("a date"));
    let mut checker = Checker::new(settings).expect("settings");
    if let Some(files) = files {
        checker = checker.with_files(files);
    }
    let text = serde_json::to_vec(document).expect("json");
    checker.check(&text).expect("json that was just written")
}

/// All examples of a rule.
fn examples(rule: &Rule, section: Section) -> Vec<Example> {
    [rule.examples(section), rule.delivery_examples(section)].concat()
}

fn patched(rule: &str, patch: &str) -> Value {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    if find(rule).is_some_and(|rule| rule.needs.contains(&Need::Files)) {
        document["files"] = serde_json::from_str(MINIMAL_FILES).expect("the files");
    }
    let patch: json_patch::Patch =
        serde_json::from_str(patch).unwrap_or_else(|error| panic!("{rule}: {error} in {patch}"));
    json_patch::patch(&mut document, &patch)
        .unwrap_or_else(|error| panic!("{rule}: {error} in {patch:?}"));
    document
}

#[test]
fn the_minimal_document_is_clean() {
    let report = check(&serde_json::from_str(MINIMAL).expect("json"), None);
    let found: Vec<String> = report
        .findings
        .iter()
        .map(|f| format!("{} {} {}", f.rule, f.subject.path, f.message))
        .collect();
    assert_eq!(found, Vec::<String>::new());
    assert_eq!(report.not_run, []);
}

#[test]
fn documented_examples_hold() {
    let mut wrong = Vec::new();
    for rule in catalogue() {
        for example in examples(rule, Section::Fails) {
            let report = check(&patched(rule.name, &example.patch), Some(rule));
            let at: Vec<&str> = report
                .findings
                .iter()
                .filter(|f| f.rule == rule.name)
                .map(|f| f.subject.path.as_str())
                .collect();
            if !at.contains(&example.path.as_str()) {
                let others: Vec<String> = report
                    .findings
                    .iter()
                    .map(|f| format!("{} {}", f.rule, f.subject.path))
                    .collect();
                wrong.push(format!(
                    "{}: expected a finding at {:?}, found {at:?}; all: {others:?}",
                    rule.name, example.path
                ));
            }
        }
        for example in examples(rule, Section::Passes) {
            let report = check(&patched(rule.name, &example.patch), Some(rule));
            if let Some(finding) = report.findings.iter().find(|f| f.rule == rule.name) {
                wrong.push(format!(
                    "{}: must pass, but: {} {}",
                    rule.name, finding.subject.path, finding.message
                ));
            }
            if report
                .not_run
                .iter()
                .any(|not_run| not_run.rules.iter().any(|name| name == rule.name))
            {
                wrong.push(format!(
                    "{}: the passing example stopped the rule from being run",
                    rule.name
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn declarations_are_well_formed() {
    let mut names = BTreeSet::new();
    let mut wrong = Vec::new();
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/src/rules");
    for rule in catalogue() {
        let mut report = |what: String| wrong.push(format!("{}: {what}", rule.name));
        if !names.insert(rule.name) {
            report("the name is a duplicate".into());
        }
        if !rule.name.chars().all(|c| c.is_ascii_lowercase() || c == '-') {
            report("not in kebab case".into());
        }
        let file = format!("{root}/{}/{}.rs", rule.family(), rule.name.replace('-', "_"));
        match std::fs::read_to_string(&file) {
            Ok(text) if text.lines().count() > 160 => {
                report(format!("{} lines in its file", text.lines().count()))
            }
            Ok(_) => {}
            Err(_) => report(format!("no file {file}")),
        }
        for section in Section::ALL {
            let may_miss = matches!(
                section,
                Section::Exceptions | Section::Exactly | Section::Source | Section::Profile
            );
            if rule.section(section).is_empty() && !may_miss {
                report(format!("no section {:?}", section.heading()));
            }
        }
        for section in [Section::Fails, Section::Passes] {
            if examples(rule, section).is_empty() {
                report(format!("no example in {:?}", section.heading()));
            }
        }
        if rule
            .examples(Section::Fails)
            .iter()
            .any(|example| !example.path.starts_with('/') && !example.path.is_empty())
        {
            report("a failing example does not name its place".into());
        }
        if (rule.family() == "profile") != rule.profile().is_some() {
            report(
                "a rule of the family profile has a profile for its examples, and no other has"
                    .into(),
            );
        }
        if !rule.clause.contains('#') {
            report("the clause names no anchor".into());
        }
        let mut facts = BTreeSet::new();
        for fact in rule.facts {
            if !facts.insert(fact.name) {
                report(format!("the fact {} is a duplicate", fact.name));
            }
            let plain = fact.name.chars().all(|c| c.is_ascii_lowercase() || c == '_');
            let is_phrase =
                |text: &str| !text.is_empty() && !text.ends_with('.') && !text.contains('|');
            if !plain || !is_phrase(fact.meaning) || !fact.when().is_none_or(is_phrase) {
                report(format!(
                    "the fact {} is not in snake case, or says too little or too much",
                    fact.name
                ));
            }
        }
        for limit in rule.limits {
            if limit.meaning.is_empty() || limit.unit.is_empty() {
                report(format!("the limit {} says too little", limit.name));
            }
            let sourced = !rule.section(Section::Source).is_empty()
                || ["practice", "source", "definition", "memory"]
                    .iter()
                    .any(|word| limit.meaning.contains(word));
            if !sourced {
                report(format!("the limit {} has no source, and does not say so", limit.name));
            }
        }
    }
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn messages_are_well_formed() {
    for rule in catalogue() {
        for example in examples(rule, Section::Fails) {
            for finding in check(&patched(rule.name, &example.patch), Some(rule)).findings {
                let first = finding.message.chars().next().expect("a message");
                assert!(!first.is_uppercase(), "{}: {:?}", rule.name, finding.message);
                assert!(!finding.message.ends_with('.'), "{}: {:?}", rule.name, finding.message);
            }
        }
    }
}

/// Every pointer is that of a value in the document; for a missing value, that of its row.
#[test]
fn paths_resolve() {
    let mut wrong = BTreeSet::new();
    for rule in catalogue() {
        for example in examples(rule, Section::Fails) {
            let document = patched(rule.name, &example.patch);
            for finding in check(&document, Some(rule)).findings {
                if document.pointer(&finding.subject.path).is_none() {
                    wrong.insert(format!("{} {}", finding.rule, finding.subject.path));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{} do not resolve:\n{wrong:#?}", wrong.len());
}

/// In some lists the characterisation decides what an amount measures: BAJ of en-13508-2 has a gap
/// with A, an offset with B and an angle with C (from memory). 400 mm are too much for an offset in
/// a pipe of 8 in, but not for a gap.
#[test]
fn the_characterisation_decides_what_an_amount_measures() {
    let version = obvert_model::lists::CodeList::en_13508_2().version.as_str();
    for (direction, found) in [("B", true), ("A", false)] {
        let patch = serde_json::json!([
            { "op": "replace", "path": "/coding", "value": { "list": "en-13508-2", "version": version } },
            { "op": "remove", "path": "/grading" },
            { "op": "remove", "path": "/ratings" },
            { "op": "replace", "path": "/runs/0/observations", "value": [
                { "id": "1", "at": 4, "code": "BAJ", "characterisation": [direction], "joint": true,
                  "quantities": [{ "value": 400, "unit": "mm" }] }
            ] }
        ]);
        let document = patched("quantity-exceeds-pipe", &patch.to_string());
        let report = check(&document, None);
        let at: Vec<&str> = report
            .findings
            .iter()
            .filter(|f| f.rule == "quantity-exceeds-pipe")
            .map(|f| f.subject.path.as_str())
            .collect();
        let expected: &[&str] =
            if found { &["/runs/0/observations/0/quantities/0/value"] } else { &[] };
        assert_eq!(at, expected, "{direction}");
    }
}

/// A document that was issued before several runs is one finding with their number.
#[test]
fn an_early_issue_counts_the_runs_after_it() {
    let patch = r#"[{"op": "replace", "path": "/issued", "value": "2026-05-05T15:00:00-05:00"}]"#;
    let document = patched("issued-before-run", patch);
    let report = check(&document, None);
    let finding =
        report.findings.iter().find(|f| f.rule == "issued-before-run").expect("a finding");
    let runs = document["runs"].as_array().expect("runs");
    let issued: &str = "2026-05-05T15:00:00-05:00";
    // All times of the small survey have the same offset, so that they compare as texts.
    let later = runs
        .iter()
        .filter(|run| run["finished"].as_str().is_some_and(|time| time > issued))
        .count();
    assert!(later > 1);
    assert_eq!(finding.params["runs"], later);
    assert_eq!(finding.params["of"], runs.len());
    assert!(
        finding.message.ends_with(&format!("{later} of {} are later", runs.len())),
        "{}",
        finding.message
    );
}

/// A trade word used instead of a code is answered with the matching codes.
#[test]
fn an_unknown_code_may_be_a_trade_word() {
    for (word, help) in [
        ("Belly", "Did you mean one of water.sag, water.standing?"),
        ("FOG", "Did you mean \"deposit.grease\"?"),
    ] {
        let patch = format!(
            r#"[{{"op": "replace", "path": "/runs/0/observations/2/code", "value": "{word}"}}]"#
        );
        let report = check(&patched("code-unknown", &patch), None);
        let finding = report.findings.iter().find(|f| f.rule == "code-unknown").expect("a finding");
        assert_eq!(finding.help.as_deref(), Some(help));
    }
}

#[test]
fn every_rule_file_is_registered() {
    let mut files = 0;
    for family in
        std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/src/rules")).expect("rules")
    {
        let family = family.expect("entry").path();
        if family.is_dir() {
            files += std::fs::read_dir(family).expect("family").count();
        }
    }
    assert_eq!(files, catalogue().len());
}
