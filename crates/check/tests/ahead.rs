//! Reading ahead on a thread of its own changes nothing in a report.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::path::{Path, PathBuf};

use obvert_check::{Checker, Settings};

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
    let settings = |read_ahead| Settings { read_ahead, today: "2026-06-15".parse().ok(), ..Settings::default() };
    let (plain, ahead) = (settings(false), settings(true));
    let (plain, ahead) = (Checker::new(plain).expect("settings"), Checker::new(ahead).expect("settings"));
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut files = Vec::new();
    documents(&root.join("examples/data"), &mut files);
    documents(&root.join("tests/corpus"), &mut files);
    let (mut found, mut refused) = (0, 0);
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
            }
            (Err(one), Err(two)) => {
                refused += 1;
                assert_eq!(one.to_string(), two.to_string(), "{file:?}");
            }
            (one, two) => panic!("{file:?}: {one:?} and {two:?}"),
        }
    }
    assert!(
        files.len() > 20 && found > 200 && refused > 0,
        "{} files, {found} findings, {refused} refused",
        files.len()
    );
}
