//! A rule declares which values its findings depend on, so that unreadable parts cause no false
//! findings. These tests damage every example of every rule at every place. All findings in the
//! damaged document must also be findings in the undamaged one.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::{BTreeMap, BTreeSet};

use obvert_check::{Checker, Finding, MINIMAL, Report, Rule, Section, Settings, catalogue};
use obvert_model::profile::Profile;
use obvert_model::read::{Diagnosis, Problem, ProblemKind};
use serde_json::Value;

/// A finding: its rule, and its pointer or the missing id, which is reported at its first
/// reference.
type Found = BTreeSet<(String, String)>;

fn checker(rule: &Rule) -> Checker {
    let profile = rule.profile().map(|text| Profile::read(text.as_bytes()).expect("a profile"));
    let settings =
        Settings::default().with_profile(profile).with_today("2026-06-01".parse().expect("a date"));
    Checker::new(settings).expect("settings")
}

fn patched(patch: &str) -> Value {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    let patch: json_patch::Patch = serde_json::from_str(patch).expect("a patch");
    json_patch::patch(&mut document, &patch).expect("a patch that fits");
    document
}

/// The findings of the rules.
fn by_rules(report: &Report) -> Found {
    let structural = |name: &str| ProblemKind::ALL.iter().any(|kind| kind.as_str() == name);
    let found = |finding: &Finding| match finding
        .params
        .get("id")
        .filter(|_| finding.rule.starts_with("unknown-"))
    {
        Some(id) => (finding.rule.to_string(), id.to_string()),
        None => (finding.rule.to_string(), finding.subject.path.clone()),
    };
    report.findings.iter().filter(|finding| !structural(&finding.rule)).map(found).collect()
}

/// Returns whether a finding about the whole document is lost. Such a finding replaces others, as a
/// wrong unit replaces those about every length. If too little of the document is left to find it,
/// the others are reported.
fn lost_the_explanation(complete: &Report, rest: &Found) -> bool {
    let about_all =
        |finding: &&Finding| finding.subject.pipe.is_none() && finding.subject.run.is_none();
    let key = |finding: &Finding| (finding.rule.to_string(), finding.subject.path.clone());
    complete.findings.iter().filter(about_all).any(|finding| !rest.contains(&key(finding)))
}

/// Every value of the head, row and value of a row, and item of a list in an observation.
fn places(document: &Value) -> Vec<String> {
    let mut places = Vec::new();
    let mut below = |value: &Value, at: &str, depth: usize| {
        let mut open = vec![(at.to_owned(), value.clone(), depth)];
        while let Some((at, value, depth)) = open.pop() {
            let inside: Vec<(String, Value)> = match value {
                Value::Object(object) => object.into_iter().collect(),
                Value::Array(items) => items
                    .into_iter()
                    .enumerate()
                    .map(|(row, item)| (row.to_string(), item))
                    .collect(),
                _ => Vec::new(),
            };
            for (key, value) in inside {
                let pointer = format!("{at}/{key}");
                places.push(pointer.clone());
                let deeper = if key == "observations" { 3 } else { depth };
                if deeper > 1 {
                    open.push((pointer, value, deeper - 1));
                }
            }
        }
    };
    below(document, "", 3);
    places.retain(|place| {
        !["/obvert", "/units", "/coding"].iter().any(|head| place.starts_with(head))
    });
    places
}

/// A pointer with `*` for the numbers of rows.
fn kind(pointer: &str) -> String {
    let token = |token: &str| {
        if token.parse::<usize>().is_ok() { "*".to_owned() } else { token.to_owned() }
    };
    pointer.split('/').map(token).collect::<Vec<_>>().join("/")
}

#[test]
fn unreadable_parts_cause_no_findings() {
    // Every 32nd place by default; all places take a quarter of an hour.
    let step: usize =
        std::env::var("EVIDENCE").ok().and_then(|text| text.parse().ok()).unwrap_or(32);
    let mut wrong: BTreeMap<(String, String), String> = BTreeMap::new();
    let mut cases = 0;
    for (turn, rule) in catalogue().iter().enumerate() {
        let checker = checker(rule);
        for section in [Section::Fails, Section::Passes] {
            for (number, example) in rule.examples(section).iter().enumerate() {
                let document = patched(&example.patch);
                let complete = checker.check(document.to_string().as_bytes()).expect("JSON");
                let known = by_rules(&complete);
                for pointer in
                    places(&document).into_iter().skip((turn + number) % step).step_by(step)
                {
                    let problem = Problem::new(ProblemKind::WrongType, pointer.as_str(), "spoiled");
                    let rest = by_rules(&checker.check_value(Diagnosis {
                        value: document.clone(),
                        problems: vec![problem],
                    }));
                    cases += 1;
                    if lost_the_explanation(&complete, &rest) {
                        continue;
                    }
                    for (found, path) in rest.difference(&known) {
                        wrong.entry((found.clone(), kind(&pointer))).or_insert_with(|| {
                            format!("{} {number} {section:?}: {pointer} -> {path}", rule.name)
                        });
                    }
                }
            }
        }
    }
    println!("{cases} cases");
    let wrong: Vec<String> =
        wrong.iter().map(|((rule, of), first)| format!("{rule} without {of}: {first}")).collect();
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}
