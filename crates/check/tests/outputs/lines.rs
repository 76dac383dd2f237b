//! JSON lines.

use obvert_check::Report;
use obvert_check::output::jsonl::{self, Line};
use obvert_check::output::{Summary, csv};
use obvert_check::report::NotRun;
use serde_json::Value;

use crate::fixtures::all;
use crate::{FORMS, text};

#[test]
fn a_line_for_each_document_and_finding() {
    for fixture in all() {
        let (name, report) = (fixture.name, fixture.report);
        let text = text(FORMS[0].1, &report);
        let lines: Vec<Line> = text
            .lines()
            .map(|line| {
                serde_json::from_str(line).unwrap_or_else(|error| panic!("{name}: {error}"))
            })
            .collect();
        assert!(text.ends_with('\n'), "{name}");
        let [Line::Report(head), parts @ .., Line::End(end)] = lines.as_slice() else {
            panic!("{name}: {text}")
        };
        assert_eq!(**end, Summary::of(&report), "{name}");
        assert_eq!((head.today.as_ref(), &head.tool), (report.today.as_ref(), &report.tool));
        // All lines together give the report again. A document comes before its findings.
        let (mut documents, mut findings) = (Vec::new(), Vec::new());
        for line in parts {
            match line {
                Line::Document(part) => {
                    assert_eq!(part.document, documents.len(), "{name}");
                    let has = |all: &[NotRun]| {
                        all.iter()
                            .filter(|not_run| not_run.documents.contains(&part.document))
                            .count()
                    };
                    assert_eq!(part.not_run.len(), has(&report.not_run), "{name}");
                    assert_eq!(part.not_applicable.len(), has(&report.not_applicable), "{name}");
                    documents.push(part.checked.clone());
                }
                Line::Finding(finding) => {
                    assert_eq!(finding.document + 1, documents.len(), "{name}");
                    findings.push((**finding).clone());
                }
                other => panic!("{name}: {other:?}"),
            }
        }
        assert_eq!((documents, findings), (report.documents, report.findings), "{name}");
    }
}

/// Reports that are written one at a time give the same lines as one report of all.
#[test]
fn documents_can_be_written_one_at_a_time() {
    let reports: Vec<Report> = all().into_iter().map(|fixture| fixture.report).collect();
    let (mut lines, mut table) = (Vec::new(), Vec::new());
    let mut summary = Summary::default();
    jsonl::begin(&reports[0], &mut lines).unwrap();
    csv::begin(&reports[0], &mut table).unwrap();
    for report in &reports {
        jsonl::documents(report, summary.documents, &mut lines).unwrap();
        csv::documents(report, &mut table).unwrap();
        summary.add(report);
    }
    jsonl::end(&summary, &mut lines).unwrap();
    csv::end(&summary, &mut table).unwrap();
    let mut merged = reports[0].clone();
    merged.extend(reports.into_iter().skip(1));
    let after_head = |text: &str| text.split_once('\n').map(|(_, rest)| rest.to_owned());
    let sorted = |text: &str| {
        let mut lines: Vec<Value> =
            text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
        // The summary of merged reports has its rules in another order.
        let rules = |rule: &Value| (rule["severity"].to_string(), rule["rule"].to_string());
        if let Some(all) = lines.last_mut().and_then(|end| end["rules"].as_array_mut()) {
            all.sort_by_key(rules);
        }
        lines
    };
    let written = after_head(&String::from_utf8(lines).unwrap()).unwrap();
    let whole = after_head(&text(FORMS[0].1, &merged)).unwrap();
    assert_eq!(sorted(&written), sorted(&whole));
    let rows = |text: &str| {
        // The profile is that of the first report.
        let rows = text.lines().filter(|row| !row.starts_with("profile,"));
        let mut rows: Vec<String> = rows.map(str::to_owned).collect();
        rows.sort();
        rows
    };
    assert_eq!(rows(&String::from_utf8(table).unwrap()), rows(&text(FORMS[4].1, &merged)));
}

#[test]
fn the_schema_knows_every_line() {
    let schema = jsonl::schema().to_string();
    for kind in ["report", "document", "finding", "end"] {
        assert!(schema.contains(&format!("\"const\":\"{kind}\"")), "{kind}");
    }
}
