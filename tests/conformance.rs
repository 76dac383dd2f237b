//! The project's documents and the rules: the clean ones have no findings, and in the rejected one
//! each mistake is found by its rule at its location. `tests/suite.rs` tests each mistake alone.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use std::collections::BTreeSet;

use obvert::check::{Checker, Report, Settings, Severity};
use serde_json::Value;

const TODAY: &str = "2026-06-15";

fn check(document: &Value) -> Report {
    let checker = Checker::new(Settings::default().with_today(TODAY.parse().expect("a date")))
        .expect("settings");
    checker.check(&serde_json::to_vec(document).expect("json")).expect("json")
}

fn json(path: &str) -> Value {
    serde_json::from_str(&support::read(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

struct Mistake {
    what: String,
    rule: String,
    path: String,
    alone: bool,
}

fn mistakes() -> Vec<Mistake> {
    let text = |value: &Value, key: &str| value[key].as_str().unwrap_or_default().to_owned();
    json("tests/corpus/rules/larkmoor.json")["cases"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|entry| Mistake {
            what: text(entry, "about"),
            rule: text(entry, "rule"),
            path: text(&entry["expect"][0], "pointer"),
            alone: entry["alone"] == true,
        })
        .collect()
}

fn found(report: &Report) -> BTreeSet<(String, String)> {
    report
        .findings
        .iter()
        .map(|finding| (finding.rule.to_string(), finding.subject.path.clone()))
        .collect()
}

#[test]
fn the_demo_survey_is_clean() {
    let document = json("examples/data/larkmoor.obvert.json");
    let report = check(&document);
    let found: Vec<String> = report
        .findings
        .iter()
        .map(|f| format!("{} {} {}", f.rule, f.subject.path, f.message))
        .collect();
    assert_eq!(found, Vec::<String>::new());
    assert_eq!(report.not_run, []);
    let size = &report.documents[0];
    assert!(size.pipes >= 12 && size.runs >= 14 && size.observations >= 200, "{size:?}");
    assert_eq!(document["units"]["length"], "ft");
    assert!(
        document["runs"].as_array().into_iter().flatten().any(|run| run["reverse_of"].is_string())
    );
    assert!(
        document["pipes"].as_array().into_iter().flatten().any(|pipe| pipe["joins"].is_object())
    );
}

/// All mistakes in one document, as it is shipped: each is still found.
#[test]
fn every_mistake_is_found_among_the_others() {
    let document = json("examples/data/larkmoor-rejected.obvert.json");
    let found = found(&check(&document));
    let together: Vec<Mistake> = mistakes().into_iter().filter(|mistake| !mistake.alone).collect();
    assert!(together.iter().map(|mistake| &mistake.rule).collect::<BTreeSet<_>>().len() >= 25);
    let missing: Vec<String> = together
        .iter()
        .filter(|mistake| !found.contains(&(mistake.rule.clone(), mistake.path.clone())))
        .map(|mistake| format!("{} ({} {})", mistake.what, mistake.rule, mistake.path))
        .collect();
    assert!(missing.is_empty(), "{} not found:\n{}", missing.len(), missing.join("\n"));
}

/// A real network (see its README): only the reference system that does not fit its numbers is
/// reported.
#[test]
fn a_real_network_has_its_known_mistake_and_no_false_alarm() {
    let report = check(&json("tests/data/networks/swmmio-state-plane.obvert.json"));
    let loud: Vec<_> =
        report.findings.iter().filter(|finding| finding.severity > Severity::Note).collect();
    let rules: Vec<&str> = loud.iter().map(|finding| &*finding.rule).collect();
    assert_eq!(rules, ["crs-unit-suspect"], "{loud:#?}");
    assert!(loud[0].message.contains("EPSG:2817"), "{}", loud[0].message);
}

/// Two conduits have a stated length that differs from the distance between their nodes, because
/// they bend. Without the bends in the data, the one is reported whose length no run confirms.
#[test]
fn a_real_network_without_its_bends_shows_the_conduit_that_no_run_confirms() {
    let mut document = json("tests/data/networks/swmmio-state-plane.obvert.json");
    for pipe in document["pipes"].as_array_mut().expect("pipes") {
        pipe.as_object_mut().expect("a pipe").remove("path");
    }
    let report = check(&document);
    let pipes: BTreeSet<&str> = report
        .findings
        .iter()
        .filter(|finding| finding.rule == "path-length-contradicts")
        .filter_map(|finding| finding.subject.pipe.as_deref())
        .collect();
    assert_eq!(pipes, BTreeSet::from(["J2-095.1"]));
}
