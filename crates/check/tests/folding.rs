//! One mistake is one finding, however many rows it affects: missing rows, duplicate ids, rows in
//! another order, a whole document in another unit.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_check::{Checker, MINIMAL, Report, Settings};
use serde_json::{Value, json};

fn check(change: impl FnOnce(&mut Value)) -> Report {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    change(&mut document);
    let settings = Settings::default().with_today("2026-06-01".parse().expect("a date"));
    Checker::new(settings).expect("settings").check(document.to_string().as_bytes()).expect("json")
}

/// Rule, path, message and advice of every finding.
fn found(report: &Report) -> Vec<(&str, &str, &str, Option<&str>)> {
    report
        .findings
        .iter()
        .map(|f| (&*f.rule, &*f.subject.path, &*f.message, f.help.as_deref()))
        .collect()
}

#[test]
fn a_missing_row_is_one_finding_without_a_suggestion() {
    let report = check(|document| {
        document["runs"].as_array_mut().expect("runs").remove(1);
    });
    let all = found(&report);
    let [(rule, path, message, help)] = all[..] else { panic!("{all:?}") };
    assert_eq!((rule, path), ("unknown-run", "/media/2/run"));
    assert_eq!(message, r#"no run has the id "R-102", but 2 rows refer to it"#);
    assert_eq!(
        help,
        Some("was the run deleted, or did its id change? Restore it, or correct the rows")
    );
}

#[test]
fn a_single_reference_gets_a_suggestion() {
    let report = check(|document| document["media"][2]["run"] = json!("R-1O2"));
    let all = found(&report);
    let [(rule, _, message, help)] = all[..] else { panic!("{all:?}") };
    assert_eq!((rule, message), ("unknown-run", r#"no run has the id "R-1O2""#));
    assert_eq!(help, Some(r#"Did you mean "R-102"?"#));
}

#[test]
fn a_table_without_rows_is_one_finding() {
    let report = check(|document| {
        document.as_object_mut().expect("an object").remove("structures");
        document.as_object_mut().expect("an object").remove("locates");
    });
    let structures: Vec<_> =
        found(&report).into_iter().filter(|(rule, ..)| *rule == "unknown-structure").collect();
    let [(_, path, message, _)] = structures[..] else { panic!("{structures:?}") };
    assert_eq!(path, "/pipes/0/upstream");
    assert_eq!(message, "the document has no structure at all, but 10 rows refer to one");
}

#[test]
fn a_duplicate_id_is_located_and_causes_no_other_finding() {
    let report = check(|document| {
        let mut copy = document["pipes"][0].clone();
        copy["length"] = json!(900);
        copy["downstream"] = json!("LM-016");
        copy.as_object_mut().expect("a pipe").remove("path");
        copy.as_object_mut().expect("a pipe").remove("inverts");
        document["structures"][2].as_object_mut().expect("a structure").remove("position");
        document["pipes"].as_array_mut().expect("pipes").push(copy);
    });
    let all = found(&report);
    let [(rule, path, message, _)] = all[..] else { panic!("{all:?}") };
    assert_eq!((rule, path), ("duplicate-id", "/pipes/2/id"));
    assert_eq!(message, r#"the id "L-101" is a duplicate in this table, first in /pipes/0"#);
}

#[test]
fn rows_in_another_order_are_one_finding() {
    for turn in [
        |rows: &mut Vec<Value>| rows.reverse(),
        |rows: &mut Vec<Value>| {
            rows.sort_by_key(|row| row["code"].as_str().unwrap_or_default().to_owned());
        },
    ] {
        let report = check(|document| {
            turn(document["runs"][0]["observations"].as_array_mut().expect("rows"))
        });
        let all: Vec<_> = found(&report).into_iter().map(|(rule, path, ..)| (rule, path)).collect();
        assert_eq!(all, [("distance-decreases", "/runs/0/observations")]);
    }
}

#[test]
fn a_unit_that_contradicts_the_positions_is_one_finding() {
    let report = check(|document| {
        document["units"]["length"] = json!("m");
        let third =
            json!({ "id": "L-103", "upstream": "LM-014", "downstream": "LM-016", "length": 269 });
        document["pipes"].as_array_mut().expect("pipes").push(third);
        let run = json!({ "id": "R-103", "pipe": "L-103", "direction": "downstream", "started": "2026-05-06T12:05:00-05:00",
            "counter": { "zero": "structure-centre" }, "surveyed": 269, "outcome": { "kind": "reached" },
            "observations": [{ "id": "1", "at": 0, "code": "run.start" }, { "id": "2", "at": 269, "code": "run.finish" }] });
        document["runs"].as_array_mut().expect("runs").push(run);
    });
    let all: Vec<_> = found(&report).into_iter().map(|(rule, path, ..)| (rule, path)).collect();
    assert_eq!(all, [("length-unit-suspect", "/units/length")]);
}
