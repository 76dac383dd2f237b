//! Offices' own tables on the command line: checked, converted both ways and judged, with row and column of the table.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use serde_json::Value;
use support::{obvert, obvert_in, read, root, status, stderr, stdout};

const A: &str = "examples/layouts/office-a.csv";
const LAYOUT_A: &str = "examples/layouts/office-a.layout.json";
const B: &str = "examples/layouts/office-b.csv";
const LAYOUT_B: &str = "examples/layouts/office-b.layout.json";

/// Sheet L-103 of office A is wrong on purpose; each mistake is found at its row and column.
#[test]
fn the_mistakes_of_sheet_l_103_are_found_in_their_cells() {
    let output = obvert(&["check", A, "--layout", LAYOUT_A, "--today", "2026-06-01", "--all", "--format", "json"]);
    assert_eq!(status(&output), 1, "{}", stderr(&output));
    let report: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let findings = report["findings"].as_array().unwrap();
    for (rule, line, heading) in [
        ("size-unit-suspect", 22, "Dia in"),
        ("material-excludes-code", 23, "Observation"),
        ("quantity-range", 24, "Amount"),
        ("clock-full-circle", 24, "Clock"),
        ("distance-falls", 25, "Station"),
        ("clock-range", 25, "Clock"),
        ("media-offset-falls", 26, "Video"),
        ("run-past-pipe", 26, "Station"),
    ] {
        let found = findings.iter().any(|finding| {
            let at = &finding["at"];
            finding["rule"] == rule && at["line"] == line && at["heading"] == heading && at["file"] == A
        });
        assert!(found, "{rule} at line {line}, {heading}");
    }
    assert!(findings.iter().any(|finding| finding["rule"] == "stretch-never-ends" && finding["at"]["line"] == 24));
}

#[test]
fn a_table_becomes_a_document_and_a_table_again() {
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name).display().to_string();
    for (table, layout) in [(A, LAYOUT_A), (B, LAYOUT_B)] {
        let (document, again, twice) = (place("d.obvert.json"), place("t.csv"), place("e.obvert.json"));
        for (from, to) in [(table, &document), (&document, &again), (&again, &twice)] {
            let output = obvert(&["convert", from, "-o", to, "--layout", layout, "--replace"]);
            assert_eq!(status(&output), 0, "{}", stderr(&output));
        }
        let bytes = |path: &String| std::fs::read(path).unwrap();
        assert_eq!(bytes(&document), bytes(&twice), "{layout}");
    }
}

#[test]
fn a_survey_goes_into_the_table_of_another_office_with_its_losses() {
    let folder = tempfile::tempdir().unwrap();
    let (document, table) = (folder.path().join("a.obvert.json"), folder.path().join("b.csv"));
    let (document, table) = (document.to_str().unwrap(), table.to_str().unwrap());
    assert_eq!(status(&obvert(&["convert", A, "-o", document, "--layout", LAYOUT_A])), 0);
    let refused = obvert(&["convert", document, "-o", table, "--layout", LAYOUT_B]);
    assert_eq!(status(&refused), 2);
    assert!(stderr(&refused).contains("translate it first (--coding en-13508-2)"), "{}", stderr(&refused));
    let output = obvert(&["convert", document, "-o", table, "--layout", LAYOUT_B, "--coding", "en-13508-2"]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let said = stderr(&output);
    for part in
        ["lengths are turned from ft into m", "has no column for pipes.street", "has no column for runs.operator"]
    {
        assert!(said.contains(part), "{part}: {said}");
    }
    let accepted = obvert(&["layout", "check", LAYOUT_B, table]);
    assert_eq!(status(&accepted), 0, "{}", stdout(&accepted));
    let lossless = obvert(&[
        "convert",
        document,
        "-o",
        table,
        "--layout",
        LAYOUT_B,
        "--coding",
        "en-13508-2",
        "--lossless",
        "--replace",
    ]);
    assert_eq!(status(&lossless), 2);
}

#[test]
fn a_layout_is_judged_before_a_table_is_read_by_it() {
    let folder = tempfile::tempdir().unwrap();
    let wrong = read(LAYOUT_A).replace("\"pipes.street\"", "\"pipes.stret\"");
    std::fs::write(folder.path().join("l.json"), wrong).unwrap();
    let judged = obvert_in(folder.path(), &["layout", "check", "l.json"]);
    assert_eq!(status(&judged), 1);
    assert!(stdout(&judged).contains("did you mean \"pipes.street\"?"), "{}", stdout(&judged));
    let table = root().join(A).display().to_string();
    let used = obvert_in(folder.path(), &["check", &table, "--layout", "l.json"]);
    assert_eq!(status(&used), 2);
    assert!(stderr(&used).contains("l.json:"), "{}", stderr(&used));
}

/// A cell that cannot be read is a finding in its cell, and what is readable is checked all the same.
#[test]
fn an_unreadable_cell_is_a_finding_beside_the_others() {
    let folder = tempfile::tempdir().unwrap();
    let bytes = std::fs::read(root().join(A)).unwrap();
    let text: String = bytes.iter().map(|byte| char::from(*byte)).collect();
    let text: Vec<u8> = text.replacen("1+40.00", "140,", 1).chars().map(|c| u32::from(c) as u8).collect();
    let text: Vec<u8> = String::from_utf8_lossy(&text).replacen("140,,", "140,", 1).into_bytes();
    std::fs::write(folder.path().join("a.csv"), text).unwrap();
    let layout = root().join(LAYOUT_A).display().to_string();
    let judged = obvert_in(folder.path(), &["layout", "check", &layout, "a.csv"]);
    assert_eq!(status(&judged), 1);
    assert!(stdout(&judged).contains("a.csv:9:11 (Station): "), "{}", stdout(&judged));
    assert!(stdout(&judged).contains("expected a station such as 1+64.50"), "{}", stdout(&judged));
    let checked = obvert_in(folder.path(), &["check", "a.csv", "--layout", &layout, "--today", "2026-06-01"]);
    assert_eq!(status(&checked), 1);
    for part in ["text-form", "size-unit-suspect"] {
        assert!(stdout(&checked).contains(part), "{part}: {}", stdout(&checked));
    }
}

#[test]
fn what_a_layout_is_of_no_use_for_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("x.xml").display().to_string();
    let output = obvert(&["convert", "examples/data/larkmoor.obvert.json", "-o", &out, "--layout", LAYOUT_A]);
    assert_eq!(status(&output), 2);
    assert!(stderr(&output).contains("neither IN nor OUT"), "{}", stderr(&output));
    let output = obvert(&["check", A]);
    assert_eq!(status(&output), 2);
    assert!(stderr(&output).contains("--layout"), "{}", stderr(&output));
}
