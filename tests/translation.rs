//! The demo survey in the code list of the European standard: translated by the command, checked,
//! and translated back.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use obvert::check::{Checker, Report, Settings};
use obvert::convert::recode;
use obvert::model::lists::CodeList;
use obvert::model::tables::Document;
use serde_json::{Value, json};
use support::{obvert_in, read, root, status, stderr, stdout};

const LARKMOOR: &str = "examples/data/larkmoor.obvert.json";

fn document(path: &str) -> Document {
    obvert::read(read(path).as_bytes()).expect("a document")
}

fn translated(document: &Document) -> Document {
    recode::document(document, CodeList::obvert_terms(), CodeList::en_13508_2())
        .expect("translates")
        .0
}

fn check(document: &Document) -> Report {
    let settings = Settings::default().with_today("2026-06-15".parse().expect("date"));
    Checker::new(settings)
        .expect("settings")
        .check(obvert::to_string(document).unwrap().as_bytes())
        .expect("checks")
}

fn findings(report: &Report) -> Vec<(String, String)> {
    report
        .findings
        .iter()
        .map(|finding| (finding.rule.to_string(), finding.subject.path.clone()))
        .collect()
}

/// The survey is clean, so every finding in its translation is a false alarm. The grade scheme is
/// for the original code list; codes are translated back to it, so grades are still checked.
#[test]
fn the_translated_survey_is_clean() {
    let report = check(&translated(&document(LARKMOOR)));
    assert_eq!(findings(&report), []);
    assert_eq!(report.not_run, []);
}

/// A survey with one mistake at a time, coded in the standard's list: the rules about codes use
/// that list.
#[test]
fn the_rules_about_codes_use_the_list() {
    let clean = serde_json::to_value(translated(&document("crates/check/src/minimal.obvert.json")))
        .expect("json");
    let row = |code: &str, more: Value| {
        let mut row = json!({ "id": "9", "at": 70, "code": code });
        row.as_object_mut().expect("object").extend(more.as_object().expect("object").clone());
        row
    };
    let mm = |value: f64| json!([{ "value": value, "unit": "mm" }]);
    let degrees = json!([{ "value": 3, "unit": "degrees" }]);
    let cases: Vec<(Value, &[&str])> = vec![
        (
            row(
                "BAB",
                json!({ "characterisation": ["B", "A"], "quantities": mm(2.0), "clock": { "at": 12 } }),
            ),
            &[],
        ),
        (row("BAB", json!({ "characterisation": ["B"] })), &["characterisation-missing"]),
        (row("BAB", json!({ "characterisation": ["F", "A"] })), &["characterisation-unknown"]),
        (
            row("BAB", json!({ "characterisation": ["B", "A", "A"] })),
            &["characterisation-unexpected"],
        ),
        (
            row("BAB", json!({ "characterisation": ["B", "A"], "quantities": mm(200.0) })),
            &["quantity-range"],
        ),
        (row("BAX", json!({})), &["code-unknown"]),
        // Entries that the list has from memory only may be incomplete.
        (
            row("BAK", json!({ "characterisation": ["K", "B"], "quantities": mm(3.0) })),
            &["lining-not-recorded"],
        ),
        // One place for an amount, whose unit depends on the characterisation.
        (
            row("BAJ", json!({ "characterisation": ["C"], "quantities": degrees, "joint": true })),
            &[],
        ),
        (
            row("BAJ", json!({ "characterisation": ["C"], "quantities": mm(3.0), "joint": true })),
            &["quantity-unit"],
        ),
        (
            row("BAJ", json!({ "characterisation": ["B"], "quantities": mm(3.0), "joint": true })),
            &[],
        ),
        (
            row("BAJ", json!({ "characterisation": ["B"], "quantities": degrees, "joint": true })),
            &["quantity-unit"],
        ),
        (
            row("BAJ", json!({ "characterisation": ["B"], "quantities": mm(3.0) })),
            &["joint-required"],
        ),
        (
            row("BAA", json!({ "characterisation": ["A"], "quantities": mm(3.0) })),
            &["quantity-unit"],
        ),
        (row("BAO", json!({ "quantities": mm(3.0) })), &["quantity-unexpected"]),
        // Brickwork in a clay pipe.
        (row("BAD", json!({ "characterisation": ["B"] })), &["material-excludes-code"]),
        (row("BCA", json!({ "characterisation": ["A"] })), &["clock-required"]),
        (row("BDD", json!({ "clock": { "at": 3 } })), &["clock-not-applicable"]),
    ];
    for (row, rules) in cases {
        let mut value = clean.clone();
        // Another row changes the totals.
        value["ratings"] = json!([]);
        let rows = value["runs"][0]["observations"].as_array_mut().expect("rows");
        let place = rows.iter().position(|row| row["at"].as_f64() > Some(70.0)).expect("a place");
        rows.insert(place, row.clone());
        let report = check(&obvert::read(value.to_string().as_bytes()).expect("a document"));
        // The rows record no grades; the tests of grading cover their grades.
        let found: Vec<String> = findings(&report)
            .into_iter()
            .map(|(rule, _)| rule)
            .filter(|rule| rule != "grade-missing")
            .collect();
        assert_eq!(found, rules, "{row}: {:#?}", report.findings);
    }
}

/// A row with a code of the standard in a document that uses another list: the message gives the
/// code in that list.
#[test]
fn a_code_of_another_list_is_recognised() {
    let mut document = document("crates/check/src/minimal.obvert.json");
    let mut help = |characterisation: &[&str]| {
        let row = &mut document.runs[0].observations[2];
        row.code = "BAC".parse().expect("code");
        row.characterisation =
            characterisation.iter().map(|letter| letter.parse().expect("text")).collect();
        let report = check(&document);
        let finding =
            report.findings.iter().find(|finding| finding.rule == "code-unknown").expect("found");
        finding.help.clone().map(|help| help.to_string()).expect("help")
    };
    assert!(help(&["C"]).ends_with("in this list, write \"collapse\""), "{}", help(&["C"]));
    let open = help(&[]);
    assert!(open.starts_with("\"BAC\" is a code of en-13508-2"), "{open}");
    assert!(
        open.ends_with("one of break.displaced, break.missing, hole, collapse, joint.damaged"),
        "{open}"
    );
}

#[test]
fn the_command_translates_reports_losses_and_translates_back() {
    let folder = tempfile::tempdir().expect("folder");
    let source = root().join(LARKMOOR).display().to_string();
    let convert =
        |arguments: &[&str]| obvert_in(folder.path(), &[&["convert"], arguments].concat());

    let output = convert(&[&source, "-o", "en.obvert.json", "--coding", "en-13508-2"]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let message = stderr(&output);
    assert!(
        message.starts_with("411 observations translated from obvert-terms to en-13508-2, "),
        "{message}"
    );
    // One line for all rows with the same outcome, with their number, most frequent first.
    let manholes: Vec<&str> =
        message.lines().filter(|line| line.contains("access.manhole")).collect();
    assert_eq!(
        manholes,
        [
            "translated /runs/0/observations/1/code: access.manhole has no equivalent in en-13508-2; it becomes BDB, general \
          remark (29 times, first shown)"
        ]
    );
    assert_eq!(message.lines().nth(1), manholes.first().copied());
    assert!(
        message
            .lines()
            .any(|line| line.starts_with("note /coding: ") && line.contains("from memory only")),
        "{message}"
    );

    let output = convert(&["en.obvert.json", "-o", "back.obvert.json", "--coding", "obvert-terms"]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let back = std::fs::read_to_string(folder.path().join("back.obvert.json")).expect("written");
    assert!(back == read(LARKMOOR), "the document comes back byte for byte");

    // Through another format, and back from there.
    let output = convert(&[&source, "-o", "en.xml", "--coding", "en-13508-2"]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let output = convert(&["en.xml", "-o", "home.obvert.json", "--coding", "obvert-terms"]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let home = std::fs::read_to_string(folder.path().join("home.obvert.json")).expect("written");
    assert!(home == read(LARKMOOR));

    let output =
        convert(&[&source, "-o", "no.obvert.json", "--coding", "en-13508-2", "--lossless"]);
    assert_eq!(status(&output), 2);
    assert!(
        stderr(&output).contains("not written, because --lossless was given"),
        "{}",
        stderr(&output)
    );
    assert!(!folder.path().join("no.obvert.json").exists());
}

#[test]
fn nothing_is_lost_of_a_survey_with_exact_equivalents() {
    let mut document = document("crates/check/src/minimal.obvert.json");
    for run in &mut document.runs {
        run.observations.retain(|row| !matches!(row.code.as_str(), "run.met" | "run.stopped"));
    }
    let folder = tempfile::tempdir().expect("folder");
    std::fs::write(folder.path().join("a.obvert.json"), obvert::to_string(&document).unwrap())
        .expect("write");
    let arguments =
        ["convert", "a.obvert.json", "-o", "b.obvert.json", "--coding", "en-13508-2", "--lossless"];
    let output = obvert_in(folder.path(), &arguments);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let written = std::fs::read_to_string(folder.path().join("b.obvert.json")).expect("written");
    assert!(!written.contains("extensions"), "{written}");
    assert!(stderr(&output).contains("all without loss"), "{}", stderr(&output));
}

#[test]
fn lists_from_files_are_translated_from_and_to() {
    let folder = tempfile::tempdir().expect("folder");
    let code = |code: &str, more: Value| {
        let mut all = json!({ "code": code, "family": "structural", "label": { "en": code }, "clock": { "use": "optional" },
                              "continuous": "allowed", "joint": "allowed" });
        all.as_object_mut().expect("object").extend(more.as_object().expect("object").clone());
        all
    };
    let list = json!({
        "code_list": "0.1", "id": "larkmoor-own", "version": "3", "title": "Larkmoor's own", "codes": [
            code("R", json!({ "role": "remark" })),
            code("BEGIN", json!({ "role": "start", "same_as": [{ "list": "obvert-terms", "code": "run.start" }] }))
        ]
    });
    std::fs::write(folder.path().join("own.json"), list.to_string()).expect("write");
    let source = root().join("crates/check/src/minimal.obvert.json").display().to_string();
    let convert =
        |arguments: &[&str]| obvert_in(folder.path(), &[&["convert"], arguments].concat());
    let output = convert(&[
        &source,
        "-o",
        "own.obvert.json",
        "--coding",
        "larkmoor-own",
        "--code-list",
        "own.json",
    ]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let written: Value = serde_json::from_str(
        &std::fs::read_to_string(folder.path().join("own.obvert.json")).expect("written"),
    )
    .expect("json");
    assert_eq!(written["coding"], json!({ "list": "larkmoor-own", "version": "3" }));
    assert_eq!(written["runs"][0]["observations"][0]["code"], "BEGIN");
    assert_eq!(written["runs"][0]["observations"][2]["code"], "R");

    let output = convert(&[
        "own.obvert.json",
        "-o",
        "home.obvert.json",
        "--coding",
        "obvert-terms",
        "--code-list",
        "own.json",
    ]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let home = std::fs::read_to_string(folder.path().join("home.obvert.json")).expect("written");
    assert_eq!(home, obvert::to_string(&document("crates/check/src/minimal.obvert.json")).unwrap());

    for (arguments, says) in [
        (
            &["own.obvert.json", "-o", "x.json", "--coding", "obvert-terms"][..],
            "larkmoor-own 3, which is not available; give that list with --code-list",
        ),
        (
            &[&source, "-o", "x.json", "--coding", "en-13508"],
            "--coding en-13508: unknown code list; give one of obvert-terms, en-13508-2",
        ),
        (
            &[&source, "-o", "x.json", "--code-list", "own.json"],
            "--code-list own.json: has no effect without --coding or a layout",
        ),
    ] {
        let output = convert(arguments);
        assert_eq!(status(&output), 2, "{}", stdout(&output));
        assert!(stderr(&output).contains(says), "{}", stderr(&output));
    }
}

#[test]
fn a_code_of_the_standard_is_explained_with_its_standing() {
    let explain = |code: &str| stdout(&support::obvert(&["explain", code]));
    let text = explain("BAB");
    for says in [
        "(structural, en-13508-2 2003+A1:2011)",
        "with B A, same as: obvert-terms crack.longitudinal",
        "second hand",
        "Standing",
    ] {
        assert!(text.contains(says), "{says}: {text}");
    }
    let text = explain("BAJ");
    assert!(text.contains("angle in degrees, 0 to 90 (optional, with C)"), "{text}");
    assert!(text.contains("from memory: direction A, direction B"), "{text}");
    assert!(explain("BDB").contains("- from memory: the code"), "{}", explain("BDB"));
    // A list that is its own authority has no standing; a wider link names what it loses.
    let text = explain("hole");
    assert!(
        !text.contains("Standing") && text.contains("part of: en-13508-2 BAC B, without its size"),
        "{text}"
    );
    assert_eq!(explain("bab"), explain("BAB"), "however it is spelt");
}

/// An unavailable version is reported with the available one, for every built-in list.
#[test]
fn an_unavailable_version_of_the_standard_is_reported() {
    let document = support::read("crates/check/src/minimal.obvert.json").replace(
        "\"list\": \"obvert-terms\", \"version\": \"1\"",
        "\"list\": \"en-13508-2\", \"version\": \"2003\"",
    );
    let text =
        stdout(&support::obvert_fed(&["check", "-", "--today", "2026-06-15"], document.as_bytes()));
    assert!(text.contains("available: 2003+A1:2011 [code-list-version]"), "{text}");
}
