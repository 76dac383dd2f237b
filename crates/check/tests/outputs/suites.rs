//! JUnit XML.

use std::collections::BTreeMap;

use obvert_check::{Report, Severity, catalogue, output};
use quick_xml::events::Event;
use quick_xml::reader::Reader;

use crate::fixtures::all;

#[derive(Debug, Default)]
struct Suite {
    name: String,
    counts: BTreeMap<String, usize>,
    /// By case: its child element, and its text.
    cases: Vec<(String, Option<String>, String)>,
}

fn read(report: &Report, deny: Severity, name: &str) -> Vec<Suite> {
    let mut out = Vec::new();
    output::junit::write(report, deny, &mut out).expect("written");
    let text = String::from_utf8(out).expect("UTF-8");
    let mut reader = Reader::from_str(&text);
    let mut suites: Vec<Suite> = Vec::new();
    let mut whole = BTreeMap::new();
    loop {
        let event = reader.read_event().unwrap_or_else(|error| panic!("{name}: {error}\n{text}"));
        match event {
            Event::Eof => break,
            Event::Start(tag) | Event::Empty(tag) => {
                let attributes: BTreeMap<String, String> = tag
                    .attributes()
                    .map(|attribute| {
                        let attribute = attribute.unwrap_or_else(|error| panic!("{name}: {error}"));
                        let value = attribute
                            .normalized_value(quick_xml::XmlVersion::Explicit1_0)
                            .expect("a value");
                        (attribute.key.as_ref().to_owned(), value.into_owned())
                    })
                    .collect();
                let counts = || {
                    ["tests", "failures", "errors", "skipped"]
                        .iter()
                        .map(|count| {
                            ((*count).to_owned(), attributes[*count].parse().expect("a number"))
                        })
                        .collect()
                };
                match tag.name().as_ref() {
                    "testsuites" => whole = counts(),
                    "testsuite" => suites.push(Suite {
                        name: attributes["name"].clone(),
                        counts: counts(),
                        cases: Vec::new(),
                    }),
                    "testcase" => {
                        let suite = suites.last_mut().expect("a suite");
                        assert!(attributes["classname"].starts_with("obvert."), "{name}");
                        suite.cases.push((attributes["name"].clone(), None, String::new()));
                    }
                    kind @ ("failure" | "error" | "skipped") => {
                        let case = suites
                            .last_mut()
                            .and_then(|suite| suite.cases.last_mut())
                            .expect("a case");
                        assert!(case.1.is_none(), "{name}: one outcome a case");
                        case.1 = Some(kind.to_owned());
                        case.2.clone_from(&attributes["message"]);
                    }
                    _ => {}
                }
            }
            _ => {}
        }
    }
    let mut sum: BTreeMap<String, usize> = BTreeMap::new();
    for suite in &suites {
        for (count, number) in &suite.counts {
            *sum.entry(count.clone()).or_default() += number;
        }
    }
    assert_eq!(whole, sum, "{name}");
    suites
}

#[test]
fn documents_are_suites_and_rules_are_cases() {
    for fixture in all() {
        let (name, report) = (fixture.name, fixture.report);
        for deny in Severity::ALL {
            let suites = read(&report, deny, name);
            assert_eq!(suites.len(), report.documents.len(), "{name}");
            for (index, (suite, document)) in suites.iter().zip(&report.documents).enumerate() {
                let outcome = |kind: &str| {
                    suite.cases.iter().filter(|case| case.1.as_deref() == Some(kind)).count()
                };
                assert_eq!(suite.counts["tests"], suite.cases.len(), "{name}");
                assert_eq!(suite.counts["failures"], outcome("failure"), "{name}");
                assert_eq!(suite.counts["errors"], outcome("error"), "{name}");
                assert_eq!(suite.counts["skipped"], outcome("skipped"), "{name}");
                if document.info.error.is_some() {
                    assert_eq!(suite.cases.len(), 1, "{name}");
                    assert_eq!(outcome("error"), 1, "{name}");
                    continue;
                }
                let failing = document.rules.iter().filter(|rule| rule.severity >= deny).count();
                assert_eq!(outcome("failure"), failing, "{name} at {deny}");
                for rule in catalogue() {
                    let case = suite.cases.iter().find(|case| case.0 == rule.name);
                    let case = case.unwrap_or_else(|| panic!("{name}: no case for {}", rule.name));
                    let fired = document
                        .rules
                        .iter()
                        .any(|total| total.rule == rule.name && total.severity >= deny);
                    let skipped = !report.ran(rule.name, index);
                    let expected =
                        if fired { Some("failure") } else { skipped.then_some("skipped") };
                    assert_eq!(case.1.as_deref(), expected, "{name}: {}", rule.name);
                }
            }
        }
    }
}

#[test]
fn a_rule_that_is_turned_off_has_no_case() {
    let mut report = all().remove(0).report;
    report.settings.severities.insert("camera-speed".into(), "off".into());
    let suites = read(&report, Severity::Error, "off");
    assert!(!suites[0].cases.iter().any(|case| case.0 == "camera-speed"));
    assert!(suites[0].cases.iter().any(|case| case.0 == "clock-range"));
    assert_eq!(suites[0].name, "clean.obvert.json");
}

#[test]
fn a_failure_has_the_number_and_the_first_finding() {
    let report = all().into_iter().find(|fixture| fixture.name == "capped").expect("capped").report;
    let suites = read(&report, Severity::Error, "capped");
    let case = suites[0].cases.iter().find(|case| case.0 == "clock-range").expect("the rule");
    let total =
        report.rules.iter().find(|rule| rule.rule == "clock-range").expect("the rule").total;
    assert!(case.2.starts_with(&format!("{total} findings: ")), "{case:?}");
}
