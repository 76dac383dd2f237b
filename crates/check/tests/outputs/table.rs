//! CSV.

use std::collections::BTreeSet;

use crate::fixtures::{Fixture, all, check, minimal, today};
use crate::{FORMS, text};

/// The columns, which other programs rely on.
const HEADINGS: [&str; 20] = [
    "entry",
    "severity",
    "rule",
    "message",
    "what_to_do",
    "document",
    "file",
    "line",
    "column",
    "heading",
    "path",
    "pipe",
    "run",
    "observation",
    "record",
    "distance",
    "unit",
    "facts",
    "fix",
    "fix_does",
];

fn rows(text: &str) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
    reader.records().map(|row| row.expect("a row").iter().map(str::to_owned).collect()).collect()
}

fn column(name: &str) -> usize {
    HEADINGS.iter().position(|heading| *heading == name).expect("a heading")
}

#[test]
fn a_row_per_finding_without_formulas() {
    let mut fixes = BTreeSet::new();
    let mut open = minimal();
    open["runs"][1].as_object_mut().expect("a run").remove("surveyed");
    let open = Fixture { name: "open", report: check(&open, "open.obvert.json", today()) };
    for fixture in all().into_iter().chain([open]) {
        let (name, report) = (fixture.name, fixture.report);
        let text = text(FORMS[4].1, &report);
        let rows = rows(&text);
        assert_eq!(rows[0], HEADINGS, "{name}");
        assert!(rows.iter().all(|row| row.len() == HEADINGS.len()), "{name}");
        let findings: Vec<&Vec<String>> = rows.iter().filter(|row| row[0] == "finding").collect();
        assert_eq!(findings.len(), report.findings.len(), "{name}");
        // Other rows limit the result. What merely did not apply is not one.
        let others = rows.iter().skip(1).filter(|row| row[0] != "finding");
        let entries: BTreeSet<&str> = others.map(|row| row[0].as_str()).collect();
        let limits = [
            "profile",
            "not-read",
            "part-not-read",
            "suppressed",
            "suppression-ended",
            "not-run",
            "not-listed",
            "baseline",
        ];
        assert!(entries.iter().all(|entry| limits.contains(entry)), "{name}: {entries:?}");
        for (row, finding) in findings.iter().zip(&report.findings) {
            assert_eq!(row[column("rule")], finding.rule, "{name}");
            let document = &report.documents[finding.document];
            assert_eq!(
                row[column("document")].trim_start_matches('\''),
                document.info.id.as_deref().unwrap_or_default().trim_start_matches('\''),
                "{name}"
            );
            let file = finding.at.as_ref().map(|at| &at.file).or(document.info.file.as_ref());
            assert_eq!(
                row[column("file")].trim_start_matches('\''),
                file.expect("a file"),
                "{name}"
            );
            assert_eq!(
                row[column("message")].trim_start_matches('\''),
                finding.message.trim_start_matches('\''),
                "{name}"
            );
            let distance =
                finding.subject.distance.map(|distance| distance.to_string()).unwrap_or_default();
            assert_eq!(row[column("distance")], distance, "{name}: numbers stay as they are");
            let fix =
                finding.fix.as_ref().map_or("", |fix| if fix.safe { "safe" } else { "to-confirm" });
            assert_eq!(row[column("fix")], fix, "{name}");
            assert_eq!(row[column("fix_does")].is_empty(), fix.is_empty(), "{name}");
            fixes.insert(fix);
        }
        // Source: OWASP, CSV Injection.
        for cell in rows.iter().flatten() {
            let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']);
            assert!(!formula || cell.parse::<f64>().is_ok(), "{name}: {cell:?}");
        }
        // RFC 4180, section 2: records end with CRLF, which occurs outside quotes only at their
        // ends.
        let mut quoted = false;
        let mut before = ' ';
        for c in text.chars() {
            quoted ^= c == '"';
            assert!(quoted || c != '\n' || before == '\r', "{name}: a record ends with LF alone");
            before = c;
        }
        assert!(text.ends_with("\r\n"), "{name}");
    }
    assert_eq!(fixes.into_iter().collect::<Vec<_>>(), ["", "safe", "to-confirm"]);
}

#[test]
fn negative_numbers_are_not_formulas() {
    for (cell, expected) in [
        ("-0.3", "-0.3"),
        ("-12", "-12"),
        ("+1.5", "+1.5"),
        ("-1e-7", "-1e-7"),
        ("-inf", "'-inf"),
        ("-", "'-"),
        ("-2+3", "'-2+3"),
        ("--2", "'--2"),
        ("-1-1", "'-1-1"),
        ("=1", "'=1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'\t=1"),
        ("\r=1", "'\r=1"),
        ("\n=1", "'\n=1"),
        ("＝1", "'＝1"),
        ("a=1", "a=1"),
        ("L-101", "L-101"),
    ] {
        let mut report = all().remove(1).report;
        report.findings.truncate(1);
        report.findings[0].subject.pipe = Some(cell.to_owned());
        report.findings[0].subject.distance = Some(-0.3);
        let rows = rows(&text(FORMS[4].1, &report));
        let row = rows.last().expect("a row");
        assert_eq!(row[column("pipe")], expected);
        assert_eq!(row[column("distance")], "-0.3");
    }
}
