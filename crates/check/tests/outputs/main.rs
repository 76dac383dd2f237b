//! Every format of a report, with the same reports: none and many findings, several documents, one
//! that cannot be read, an invalid structure, capped lists, and texts that need escaping.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod affected;
mod annotations;
mod baseline;
mod fixtures;
mod lines;
mod page;
mod sarif;
mod suites;
mod table;

use fixtures::{Fixture, all};
use obvert_check::output::html;
use obvert_check::{Report, Severity, output};

type Write = fn(&Report, &mut Vec<u8>) -> std::io::Result<()>;

/// The formats, each with a function that writes a report.
const FORMS: [(&str, Write); 6] = [
    ("jsonl", |report, out| output::jsonl::write(report, out)),
    ("sarif", |report, out| output::sarif::write(report, out)),
    ("junit", |report, out| output::junit::write(report, Severity::Error, out)),
    ("github", |report, out| output::github::write(report, out)),
    ("csv", |report, out| output::csv::write(report, out)),
    ("html", |report, out| html::write(report, &html::Options::default(), out)),
];

fn text(write: Write, report: &Report) -> String {
    let mut out = Vec::new();
    write(report, &mut out).expect("a sink that takes everything");
    String::from_utf8(out).expect("UTF-8")
}

#[test]
fn the_fixtures_are_as_named() {
    let report =
        |name: &str| all().into_iter().find(|fixture| fixture.name == name).expect(name).report;
    assert_eq!(report("clean").totals.all(), 0);
    assert!(report("mistakes").totals.all() >= 6);
    assert!(report("capped").rules.iter().any(|rule| rule.listed < rule.total));
    assert_eq!(report("several").documents.len(), 4);
    assert!(report("several").documents.iter().any(|document| document.info.error.is_some()));
    assert!(!report("structure").not_run.is_empty() && report("structure").totals.error >= 2);
    assert!(report("unread").documents.iter().all(|document| document.info.error.is_some()));
}

/// The same report gives the same bytes, also after it was written and read again.
#[test]
fn formats_are_deterministic() {
    for Fixture { name, report } in all() {
        let again = Report::read(&serde_json::to_vec(&report).expect("json")).expect("a report");
        assert_eq!(again, report, "{name}");
        for (form, write) in FORMS {
            assert_eq!(text(write, &report), text(write, &report), "{name} as {form}");
            assert_eq!(text(write, &again), text(write, &report), "{name} as {form}");
        }
    }
}

/// Every format states which findings are counted but not listed, with the rule and the number.
#[test]
fn every_format_states_what_is_not_listed() {
    for Fixture { name, report } in all() {
        for rule in report.rules.iter().filter(|rule| rule.listed < rule.total) {
            for (form, write) in FORMS {
                let text = text(write, &report);
                assert!(text.contains(&rule.rule), "{name} as {form} does not name {}", rule.rule);
                let message = match form {
                    // The suite has the number of further findings.
                    "junit" => format!("and {} more", rule.total - rule.listed),
                    "jsonl" => format!("\"total\":{},\"listed\":{}", rule.total, rule.listed),
                    "html" => format!("{} of {} shown", rule.listed, rule.total),
                    _ => format!("{} of {} findings are listed", rule.listed, rule.total),
                };
                assert!(text.contains(&message), "{name} as {form} does not say: {message}");
            }
        }
    }
}

/// Every format states what was not run or not read, with the reason.
#[test]
fn every_format_states_what_was_skipped() {
    for Fixture { name, report } in all().into_iter().filter(|fixture| fixture.name != "hostile") {
        for (form, write) in FORMS {
            // With the escapes of these formats.
            let text = text(write, &report).replace("&quot;", "\"").replace("%25", "%");
            for not_run in &report.not_run {
                assert!(text.contains(&not_run.why), "{name} as {form}: {}", not_run.why);
                for rule in &not_run.rules {
                    assert!(text.contains(rule), "{name} as {form}: {rule}");
                }
            }
            for error in report.documents.iter().filter_map(|document| document.info.error.as_ref())
            {
                assert!(text.contains(error), "{name} as {form}: {error}");
            }
        }
    }
}

/// Every format states the profile and its suppressions, with the reason and the number.
#[test]
fn every_format_states_the_profile_and_its_suppressions() {
    let report =
        all().into_iter().find(|fixture| fixture.name == "profile").expect("the fixture").report;
    let stamp = report.profile.clone().expect("a profile");
    assert_eq!((report.totals.error, report.suppressed.len()), (1, 2));
    for (form, write) in FORMS {
        let text = text(write, &report).replace("%25", "%");
        for expected in [&stamp.id, &stamp.digest, "the books were lost", "digging"] {
            assert!(text.contains(expected), "{form} lacks: {expected}");
        }
        let ended = match form {
            "jsonl" | "sarif" => "\"expired\":true",
            "junit" => "(ended, counted again)",
            "github" => "suppression has ended",
            "csv" => "suppression-ended",
            _ => "counted and listed again",
        };
        assert!(text.replace("\": ", "\":").contains(ended), "{form} does not say: {ended}");
    }
}
