//! A defect that two runs of a pipe record counts once, if it is surely one. The cases are worked out
//! by hand on a pipe of 180 ft.

#![allow(clippy::expect_used)]

use obvert_check::grading::GradeSettings;
use obvert_check::{Checker, MINIMAL, Settings};
use serde_json::{Value, json};

/// The structural total and count of pipe L-102, and for each of its rows the run that counts.
fn counted(document: &Value) -> (f64, u64, Vec<(String, String)>) {
    let checker = Checker::new(Settings::default()).expect("settings");
    let source = document.to_string();
    let table = checker.grades(source.as_bytes(), GradeSettings::default()).expect("a table");
    let pipe = table.pipes.iter().find(|pipe| pipe.pipe == "L-102").expect("the pipe");
    let structural = pipe.aspects.iter().find(|of| of.aspect == "structural").expect("structural");
    let rows = structural.observations.iter().map(|row| {
        let counts = row.counted_as.as_ref().map_or(&row.run, |same| &same.run);
        (row.run.clone(), counts.clone())
    });
    (structural.total, structural.count, rows.collect())
}

#[test]
fn a_defect_seen_from_both_ends_counts_once_with_the_worse_grade() {
    // L-102 is 180 ft long: 90 ft from one end is 90 ft from the other.
    let with = |first: Value, second: Value| {
        let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal survey");
        document["runs"][1]["observations"][1] = first;
        let rows = document["runs"][2]["observations"].as_array_mut().expect("rows");
        rows.insert(1, second);
        document
    };
    let hole = |at: f64, clock: Value, grade: u8| json!({ "id": "d", "at": at, "code": "hole", "clock": clock, "grades": { "structural": grade } });
    let at = |hour: f64| json!({ "at": hour });
    let of = |one: &str, other: &str| vec![(one.into(), one.into()), (other.into(), one.into())];
    let cases = [
        // Mirrored, within the hour.
        (hole(90.0, at(3.0), 4), hole(89.0, at(9.5), 4), (4.0, 1, of("R-102", "R-102R"))),
        // The other end saw it worse: its grade counts.
        (hole(90.0, at(3.0), 3), hole(89.0, at(9.0), 4), (4.0, 1, of("R-102R", "R-102"))),
        (hole(90.0, at(3.0), 5), hole(89.0, at(9.0), 4), (5.0, 1, of("R-102", "R-102R"))),
    ];
    for (first, second, expected) in cases {
        assert_eq!(counted(&with(first.clone(), second.clone())), expected, "{first} {second}");
    }
    let two = [
        // On the other side of the pipe.
        (hole(90.0, at(3.0), 4), hole(89.0, at(3.0), 4)),
        // Ten feet apart.
        (hole(90.0, at(3.0), 4), hole(80.0, at(9.0), 4)),
    ];
    for (first, second) in two {
        let (total, count, _) = counted(&with(first.clone(), second.clone()));
        assert_eq!((total, count), (8.0, 2), "{first} {second}");
    }
    // With two candidates, it is not known which of them it is.
    let mut document = with(hole(90.0, at(3.0), 4), hole(89.0, at(9.0), 4));
    let rows = document["runs"][2]["observations"].as_array_mut().expect("rows");
    rows.insert(2, json!({ "id": "e", "at": 90, "code": "hole", "grades": { "structural": 4 } }));
    assert_eq!(counted(&document).1, 3);
}

#[test]
fn a_defect_that_three_runs_record_counts_once() {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal survey");
    let collapse =
        json!({ "id": "d", "at": 90, "code": "collapse", "grades": { "structural": 5 } });
    document["runs"][2]["observations"].as_array_mut().expect("rows").insert(1, collapse);
    let mut again = document["runs"][1].clone();
    again["id"] = json!("R-102B");
    document["runs"].as_array_mut().expect("runs").push(again);
    let (total, count, rows) = counted(&document);
    assert_eq!((total, count), (5.0, 1));
    assert!(rows.iter().all(|(_, counts)| counts == "R-102"), "{rows:?}");
}
