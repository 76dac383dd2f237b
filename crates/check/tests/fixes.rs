//! The fix of a rule works: in every failing example of its documentation, the finding is gone
//! after the fix, and there is no new error.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::{BTreeMap, BTreeSet};

use obvert_check::{
    Checker, Finding, MINIMAL, Report, Rule, Section, Settings, Severity, catalogue,
};
use obvert_model::edit;
use obvert_model::profile::Profile;
use serde_json::Value;

fn checker(rule: &Rule) -> Checker {
    let profile = rule.profile().map(|text| Profile::read(text.as_bytes()).expect("a profile"));
    let settings =
        Settings::default().with_profile(profile).with_today("2026-06-01".parse().expect("a date"));
    Checker::new(settings).expect("settings")
}

/// The example as a pretty-printed file.
fn example(patch: &str) -> String {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    let patch: json_patch::Patch = serde_json::from_str(patch).expect("a patch");
    json_patch::patch(&mut document, &patch).expect("applies");
    serde_json::to_string_pretty(&document).expect("json")
}

fn errors(report: &Report) -> BTreeSet<String> {
    let errors = report.findings.iter().filter(|finding| finding.severity == Severity::Error);
    errors.map(|finding| format!("{} {}", finding.rule, finding.subject.path)).collect()
}

/// The rules whose examples have a fix, and whether there are safe fixes and ones to confirm.
fn shown(
    mut see: impl FnMut(&Rule, &str, &Report, &Finding),
) -> BTreeMap<&'static str, (bool, bool)> {
    let mut shown: BTreeMap<&str, (bool, bool)> = BTreeMap::new();
    for rule in catalogue() {
        for example_of in rule.examples(Section::Fails) {
            let text = example(&example_of.patch);
            let report = checker(rule).check(text.as_bytes()).expect("json");
            for finding in report.findings.iter().filter(|finding| finding.rule == rule.name) {
                let Some(fix) = &finding.fix else { continue };
                let of_rule = shown.entry(rule.name).or_default();
                *of_rule = (of_rule.0 || fix.safe, of_rule.1 || !fix.safe);
                see(rule, &text, &report, finding);
            }
        }
    }
    shown
}

#[test]
fn fixes_remove_the_finding_and_cause_no_error() {
    let mut wrong = Vec::new();
    shown(|rule, text, before, finding| {
        let fix = finding.fix.as_ref().expect("a fix");
        let fixed =
            edit::text(text, &fix.edits).unwrap_or_else(|error| panic!("{}: {error}", rule.name));
        let patched: Value = {
            let mut value: Value = serde_json::from_str(text).expect("json");
            let patch: json_patch::Patch =
                serde_json::from_value(serde_json::to_value(&fix.edits).expect("json"))
                    .expect("a JSON Patch");
            json_patch::patch(&mut value, &patch).expect("applies");
            value
        };
        // 9 and 9.0 are the same number in JSON.
        let same =
            |value: &Value| serde_json::from_str::<Value>(&edit::spelled(value)).expect("json");
        assert_eq!(
            same(&serde_json::from_str(&fixed).expect("json")),
            same(&patched),
            "{}",
            rule.name
        );
        let after = checker(rule).check(fixed.as_bytes()).expect("json");
        let still = |found: &&Finding| {
            found.rule == finding.rule && found.subject.path == finding.subject.path
        };
        if let Some(found) = after.findings.iter().find(still) {
            wrong.push(format!("{}: still {} after {:?}", rule.name, found.message, fix.edits));
        }
        let known = errors(before);
        let new = after.findings.iter().filter(|finding| finding.severity == Severity::Error);
        let new = new.filter(|finding| {
            !known.contains(&format!("{} {}", finding.rule, finding.subject.path))
        });
        // An error that follows from a confirmed value may have a fix too: a rating is a sum.
        let new: Vec<String> = new
            .filter(|finding| fix.safe || finding.fix.is_none())
            .map(|finding| format!("{} {}", finding.rule, finding.subject.path))
            .collect();
        if !new.is_empty() {
            wrong.push(format!("{}: {new:?} after {:?}", rule.name, fix.edits));
        }
    });
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn descriptions_of_fixes_are_like_messages() {
    shown(|rule, _, _, finding| {
        let does = &finding.fix.as_ref().expect("a fix").does;
        assert!(!does.ends_with('.') && !does.is_empty(), "{}: {does:?}", rule.name);
        assert!(!does.starts_with(char::is_uppercase), "{}: {does:?}", rule.name);
    });
}

/// The specification's list of the rules that have a fix is complete.
#[test]
fn the_specification_lists_them() {
    let chapter =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../../spec/guide/fixing.md"))
            .expect("spec");
    let listed: BTreeMap<String, (bool, bool)> = chapter
        .lines()
        .filter_map(|line| {
            let cells: Vec<&str> = line.strip_prefix("| [`")?.split('|').map(str::trim).collect();
            let (name, link) = cells.first()?.split_once("`](../checking/rules.md#")?;
            assert_eq!(link.trim_end_matches(')'), name);
            Some((name.to_owned(), (!cells.get(1)?.is_empty(), !cells.get(2)?.is_empty())))
        })
        .collect();
    let shown: BTreeMap<String, (bool, bool)> =
        shown(|_, _, _, _| {}).into_iter().map(|(name, of)| (name.to_owned(), of)).collect();
    assert_eq!(listed, shown);
}
