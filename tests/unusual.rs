//! Surveys that are unusual, but right: no rule may call them wrong.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use std::collections::BTreeMap;

use serde_json::Value;

const FOLDER: &str = "tests/data/unusual";

/// The last day on which one of the surveys was made is before this.
const TODAY: &str = "2026-11-30";

/// The warnings about what the record does not show, by file and rule, with their number.
const ASKED: &[(&str, &str, usize)] = &[
    ("031-foreign-services.obvert.json", "worst-grade-without-photo", 3),
    ("033-all-round-and-over-twelve.obvert.json", "combined-code-fits", 1),
    ("061-scanning-camera.obvert.json", "run-past-blockage", 1),
    ("077-balancing-pipe-lagoon-harbour.obvert.json", "flow-control-contradicts", 1),
    ("113-seconds-and-fractions.obvert.json", "video-shorter-than-run", 1),
    ("3091-stone-1780.obvert.json", "camera-does-not-fit", 1),
    ("339-other-scheme-ratings.obvert.json", "grade-scheme-unknown", 1),
];

fn files(ending: &str) -> Vec<String> {
    let folder = std::fs::read_dir(support::root().join(FOLDER)).expect("the folder");
    let mut names: Vec<String> = folder
        .map(|entry| entry.expect("an entry").file_name().into_string().expect("UTF-8"))
        .filter(|name| name.ends_with(ending))
        .collect();
    names.sort();
    names
}

/// The errors and warnings of a survey.
fn findings(name: &str) -> Vec<Value> {
    let path = |name: &str| format!("{FOLDER}/{name}");
    let mut arguments: Vec<String> =
        ["check", &path(name), "--all", "--format", "json", "--today", TODAY]
            .map(str::to_owned)
            .to_vec();
    for list in files(".code-list.json") {
        arguments.extend(["--code-list".to_owned(), path(&list)]);
    }
    for scheme in files(".grade-scheme.json") {
        arguments.extend(["--grade-scheme".to_owned(), path(&scheme)]);
    }
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let output = support::obvert(&arguments);
    let report: Value = serde_json::from_slice(&output.stdout).expect("a report");
    let findings = report["findings"].as_array().expect("findings").clone();
    findings.into_iter().filter(|finding| finding["severity"] != "note").collect()
}

#[test]
fn nothing_right_is_called_wrong() {
    let mut asked: BTreeMap<(String, String), usize> = BTreeMap::new();
    let mut wrong = Vec::new();
    let surveys = files(".obvert.json");
    assert!(surveys.len() >= 128, "{}", surveys.len());
    for name in surveys {
        for finding in findings(&name) {
            let rule = finding["rule"].as_str().expect("a rule").to_owned();
            if finding["severity"] == "error" {
                wrong.push(format!("{name}: {rule}: {}", finding["message"]));
            }
            *asked.entry((name.clone(), rule)).or_default() += 1;
        }
    }
    assert_eq!(wrong, Vec::<String>::new());
    let expected: BTreeMap<(String, String), usize> = ASKED
        .iter()
        .map(|(name, rule, some)| (((*name).to_owned(), (*rule).to_owned()), *some))
        .collect();
    assert_eq!(asked, expected);
}
