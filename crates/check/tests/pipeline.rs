//! A report is the same however its runs are read: on one thread, ahead on another, or from a
//! reader that the caller made.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::path::{Path, PathBuf};

use obvert_check::{Checker, MINIMAL, Settings};
use obvert_model::read::{Reader, RunReader};
use obvert_model::tables::{Head, Run};

fn documents(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("folder") {
        let path = entry.expect("entry").path();
        if path.is_dir() {
            documents(&path, into);
        } else if path.extension().is_some_and(|extension| extension == "json") {
            into.push(path);
        }
    }
}

#[test]
fn the_report_is_the_same() {
    let settings = |read_ahead| {
        Settings::default()
            .with_read_ahead(read_ahead)
            .with_today("2026-06-15".parse().expect("a date"))
    };
    let (plain, ahead) = (settings(false), settings(true));
    let (plain, ahead) =
        (Checker::new(plain).expect("settings"), Checker::new(ahead).expect("settings"));
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut files = Vec::new();
    documents(&root.join("examples/data"), &mut files);
    documents(&root.join("tests/corpus"), &mut files);
    let (mut found, mut refused, mut read) = (0, 0, 0);
    for file in &files {
        let source = std::fs::read(file).expect("document");
        match (plain.check(&source), ahead.check(&source)) {
            (Ok(one), Ok(two)) => {
                found += one.totals.all();
                assert_eq!(
                    serde_json::to_value(&one).expect("json"),
                    serde_json::to_value(&two).expect("json"),
                    "{file:?}"
                );
                // A caller's own reader gives this report or, for an invalid document, none.
                if let Ok(report) =
                    Reader::new(&source).and_then(|mut reader| ahead.check_reader(&mut reader))
                {
                    read += 1;
                    assert_eq!(report, one, "{file:?}");
                }
            }
            (Err(one), Err(two)) => {
                refused += 1;
                assert_eq!(one.to_string(), two.to_string(), "{file:?}");
            }
            (one, two) => panic!("{file:?}: {one:?} and {two:?}"),
        }
    }
    assert!(
        files.len() > 20 && found > 200 && refused > 0 && read > 20,
        "{} files, {found} findings, {refused} refused, {read} read",
        files.len()
    );
}

/// A reader that fails at its second run.
struct Failing<'s>(Reader<'s>, usize);

impl RunReader for Failing<'_> {
    type Error = &'static str;

    fn head(&self) -> &Head {
        self.0.head()
    }

    fn next_run(&mut self) -> Result<Option<Run>, &'static str> {
        self.1 += 1;
        match self.1 {
            1 => self.0.next_run().map_err(|_| "not valid"),
            2 => Err("out of runs"),
            _ => panic!("asked again after an error"),
        }
    }
}

#[test]
fn a_read_error_ends_the_check() {
    for read_ahead in [false, true] {
        let checker =
            Checker::new(Settings::default().with_read_ahead(read_ahead)).expect("settings");
        let mut reader = Failing(Reader::new(MINIMAL.as_bytes()).expect("a document"), 0);
        assert_eq!(checker.check_reader(&mut reader).err(), Some("out of runs"));
    }
}

#[test]
fn duplicate_ids_leave_the_findings_of_the_rules() {
    // A duplicate id and a reference to a missing structure.
    let source = MINIMAL.replacen("\"downstream\": \"LM-015\"", "\"downstream\": \"LM-999\"", 1);
    let checker = Checker::new(Settings::default()).expect("settings");
    let rules = |source: &str| -> Vec<String> {
        let report = checker.check(source.as_bytes()).expect("json");
        report.findings.iter().map(|finding| finding.rule.to_string()).collect()
    };
    let mut value: serde_json::Value = serde_json::from_str(&source).expect("json");
    let runs = value["runs"].as_array_mut().expect("runs");
    runs.push(runs[0].clone());
    let found = rules(&value.to_string());
    assert!(found.iter().any(|rule| rule == "duplicate-id"), "{found:?}");
    assert!(found.iter().any(|rule| rule == "unknown-structure"), "{found:?}");
}
