//! Every problem in a table is reported with its file, line and column, all problems at once, and
//! never as a panic.
#![cfg(feature = "csv")]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use obvert_convert::{ConvertError, csv};
use obvert_model::tables::Document;
use proptest::prelude::*;
use serde_json::json;

fn document() -> Document {
    common::document_of(json!({
        "obvert": "0.2", "id": "d", "issued": "2026-05-06T16:20:00-05:00",
        "units": { "length": "ft", "section": "in" }, "coding": { "list": "obvert-terms", "version": "1" },
        "structures": [{ "id": "A", "kind": "manhole", "position": [1, 2] }, { "id": "B", "kind": "outfall" }],
        "pipes": [{ "id": "P", "upstream": "A", "downstream": "B", "path": [[1, 2], [3, 4]] }],
        "runs": [
            { "id": "R1", "pipe": "P", "direction": "downstream", "counter": { "zero": "pipe-end", "offset": 2 }, "observations": [
                { "id": "1", "at": 0, "code": "a" },
                { "id": "2", "at": 5.5, "code": "b", "clock": { "at": 3 },
                  "quantities": [{ "value": 1, "unit": "mm" }, { "value": 2, "unit": "percent" }] }
            ] },
            { "id": "R2", "pipe": "P", "direction": "upstream", "observations": [{ "id": "1", "at": 1, "code": "a" }] }
        ]
    }))
}

/// The files of the document, with every occurrence of `from` in one of them replaced.
fn changed(file: &str, from: &str, to: &str) -> csv::Files {
    let (mut files, _) = csv::write(&document()).unwrap();
    let (_, bytes) = files.iter_mut().find(|(name, _)| name == file).unwrap();
    let text = String::from_utf8(bytes.clone()).unwrap();
    assert!(text.contains(from), "{file} has no {from:?}:\n{text}");
    *bytes = text.replace(from, to).into_bytes();
    files
}

/// Everything the reader reports, one problem per line.
fn messages(files: &csv::Files) -> String {
    match csv::read(files, "folder") {
        Ok(_) => "nothing".to_owned(),
        Err(ConvertError::Structure(problems)) => {
            problems.iter().map(|problem| format!("{problem}\n")).collect()
        }
        Err(error) => error.to_string(),
    }
}

/// The partial document read from files with problems.
fn partial_document(files: &csv::Files) -> Option<serde_json::Value> {
    match csv::read(files, "folder") {
        Err(ConvertError::Structure(problems)) => {
            problems.document().map(|document| document.value.clone())
        }
        _ => None,
    }
}

#[test]
fn each_mistake_is_located_and_explained() {
    const CASES: &[(&str, &str, &str, &str, &[&str])] = &[
        (
            "a decimal comma",
            "observations.csv",
            "R1,2,5.5,",
            "R1,2,\"5,5\",",
            &[
                "observations.csv:3:3 (column at)",
                "/runs/0/observations/1/at",
                "\"5,5\" is not a number",
                "decimal point",
            ],
        ),
        (
            "a unit in the number",
            "observations.csv",
            "R1,2,5.5,",
            "R1,2,5.5 ft,",
            &["observations.csv:3:3 (column at)", "\"5.5 ft\" is not a number", "without its unit"],
        ),
        (
            "a spreadsheet's error",
            "observations.csv",
            "R1,2,5.5,",
            "R1,2,#REF!,",
            &["observations.csv:3:3 (column at)", "a spreadsheet wrote an error"],
        ),
        (
            "not a number",
            "observations.csv",
            "R1,2,5.5,",
            "R1,2,NaN,",
            &["observations.csv:3:3 (column at)", "\"NaN\" is not a number\n"],
        ),
        (
            "too large a number",
            "observations.csv",
            "R1,2,5.5,",
            "R1,2,1e17,",
            &["observations.csv:3:3 (column at)", "above"],
        ),
        (
            "far too large a number",
            "observations.csv",
            "R1,2,5.5,",
            "R1,2,1e999,",
            &["observations.csv:3:3 (column at)", "too large"],
        ),
        (
            "a required cell is empty",
            "observations.csv",
            "R1,2,5.5,",
            "R1,2,,",
            &["observations.csv:3:3 (column at)", "\"at\" is empty, and every row requires it"],
        ),
        (
            "an unknown word",
            "runs.csv",
            ",upstream,",
            ",upstraem,",
            &[
                "runs.csv:3:5 (column direction)",
                "not one of: downstream, upstream",
                "did you mean",
                "upstream",
            ],
        ),
        (
            "a missing word",
            "runs.csv",
            ",upstream,",
            ",,",
            &["runs.csv:3:5 (column direction)", "is empty"],
        ),
        (
            "part of an object",
            "runs.csv",
            ",pipe-end,",
            ",,",
            &[
                "runs.csv:2:",
                "(column counter.zero)",
                "/runs/0/counter",
                "it is required if \"counter\" has any other value",
            ],
        ),
        (
            "half of a position",
            "structures.csv",
            "A,manhole,,1,2,",
            "A,manhole,,1,,",
            &[
                "structures.csv:2:5 (column position.y)",
                "\"position.x\" has a value and \"position.y\" is empty",
            ],
        ),
        (
            "the other half",
            "structures.csv",
            "A,manhole,,1,2,",
            "A,manhole,,,2,",
            &[
                "structures.csv:2:4 (column position.x)",
                "\"position.y\" has a value and \"position.x\" is empty",
            ],
        ),
        (
            "half of a path's position",
            "pipe_paths.csv",
            "P,2,3,4",
            "P,2,3,",
            &["pipe_paths.csv:3:4 (column y)", "\"x\" has a value and \"y\" is empty"],
        ),
        (
            "both halves of a path's position missing",
            "pipe_paths.csv",
            "P,2,3,4",
            "P,2,,",
            &["pipe_paths.csv:3", "position"],
        ),
        (
            "an unknown column",
            "structures.csv",
            "position.x",
            "positon.x",
            &["structures.csv:1:4 (column positon.x)", "unknown column", "position.x"],
        ),
        (
            "another case",
            "pipes.csv",
            "upstream,downstream",
            "Upstream,downstream",
            &["pipes.csv:1:2 (column Upstream)", "unknown column", "upstream"],
        ),
        (
            "a duplicate column",
            "observations.csv",
            ",at,to,",
            ",at,at,",
            &["observations.csv:1:4 (column at)", "is duplicated"],
        ),
        (
            "a column without heading",
            "observations.csv",
            ",joint,",
            ",,",
            &["observations.csv:1:11", "no heading"],
        ),
        (
            "a required column is missing",
            "observations.csv",
            "run,id,at,to",
            "run,id,to,joint,x",
            &["observations.csv:1", "\"at\" is missing"],
        ),
        (
            "a key column is missing",
            "quantities.csv",
            "run,observation",
            "runn,observation",
            &["quantities.csv:1", "\"run\" is missing"],
        ),
        (
            "a run that does not exist",
            "observations.csv",
            "R2,1,1,",
            "R9,1,1,",
            &["observations.csv:4", "runs.csv has no run \"R9\""],
        ),
        (
            "an observation that does not exist",
            "quantities.csv",
            "R1,2,1,",
            "R2,2,1,",
            &["quantities.csv:2", "observations.csv has no observation \"2\""],
        ),
        (
            "no run at all",
            "observations.csv",
            "R2,1,1,",
            ",1,1,",
            &["observations.csv:4", "\"run\" is empty"],
        ),
        (
            "a duplicate order",
            "quantities.csv",
            "R1,2,2,",
            "R1,2,1,",
            &["quantities.csv:3", "order 1 is used here and in line 2"],
        ),
        (
            "an invalid order",
            "quantities.csv",
            "R1,2,2,",
            "R1,2,0,",
            &["quantities.csv:3", "whole number from 1"],
        ),
        (
            "a duplicate id",
            "structures.csv",
            "B,outfall",
            "A,outfall",
            &["structures.csv:3:1 (column id)", "is a duplicate"],
        ),
        (
            "a duplicate observation id",
            "observations.csv",
            "R1,2,5.5",
            "R1,1,5.5",
            &["observations.csv has no observation"],
        ),
        (
            "a ragged row",
            "structures.csv",
            "B,outfall,",
            "B,outfall,,",
            &["structures.csv:3", "cells, and there are"],
        ),
        (
            "a short row",
            "quantities.csv",
            "R1,2,1,1,mm,",
            "R1,2,1,1,mm",
            &["quantities.csv:2", "5 cells, and there are 6"],
        ),
        (
            "an open quotation mark",
            "quantities.csv",
            "R1,2,1,1,mm,",
            "R1,2,1,\"1,mm,",
            &["quantities.csv:2", "quotation mark"],
        ),
        (
            "a truth that is none",
            "observations.csv",
            "R1,1,0,,,a,",
            "R1,1,0,,yes,a,",
            &["observations.csv:2:5 (column continuous)", "\"yes\" is neither true nor false"],
        ),
        (
            "extensions that are not JSON",
            "quantities.csv",
            "R1,2,1,1,mm,",
            "R1,2,1,1,mm,{",
            &["quantities.csv:2:6 (column extensions)", "one JSON object by reverse domain name"],
        ),
        (
            "extensions with a bad name",
            "quantities.csv",
            "R1,2,1,1,mm,",
            "R1,2,1,1,mm,\"{\"\"x\"\":1}\"",
            &["quantities.csv:2:6 (column extensions)", "reverse domain name"],
        ),
        (
            "a duplicate extension",
            "quantities.csv",
            "R1,2,1,1,mm,",
            "R1,2,1,1,mm,\"{\"\"a.b\"\":1,\"\"a.b\"\":1}\"",
            &["quantities.csv:2:6 (column extensions)", "duplicate key"],
        ),
        (
            "another version",
            "document.csv",
            "0.2",
            "0.3",
            &["document.csv:2:2 (column obvert)", "\"0.3\""],
        ),
        (
            "a time without offset",
            "document.csv",
            "00-05:00",
            "00",
            &["document.csv:2:4 (column issued)", "date, time and offset"],
        ),
        (
            "two documents",
            "document.csv",
            "\r\n,0.2",
            "\r\n,0.2,x,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,\r\n,0.2",
            &["document.csv:"],
        ),
        ("semicolons", "structures.csv", ",", ";", &["structures.csv:1", "semicolons", "commas"]),
    ];
    for (what, file, from, to, parts) in CASES {
        let messages = messages(&changed(file, from, to));
        if std::env::var_os("SHOW").is_some() {
            println!("{what}\n    {}", messages.trim_end());
        }
        for part in *parts {
            assert!(messages.contains(part), "{what}: no {part:?} in: {messages}");
        }
        let message = messages.lines().next().unwrap_or_default().trim_end();
        assert!(!message.ends_with('.'), "{what}: {message}");
    }
}

#[test]
fn all_mistakes_are_reported_together_in_the_order_of_the_files() {
    let mut files = changed("observations.csv", "R1,2,5.5,", "R1,2,five,");
    let (_, runs) = files.iter_mut().find(|(name, _)| name == "runs.csv").unwrap();
    *runs = String::from_utf8(runs.clone())
        .unwrap()
        .replace("downstream", "dwnstream")
        .replace("pipe-end", "")
        .into_bytes();
    let messages = messages(&files);
    let starts: Vec<&str> = messages.lines().map(|line| line.split(": ").next().unwrap()).collect();
    assert_eq!(starts.len(), 3, "{messages}");
    assert!(
        starts[0].starts_with("runs.csv:2:5 ")
            && starts[1].starts_with("runs.csv:2:")
            && starts[2].starts_with("observations.csv:3:3 "),
        "{messages}"
    );
}

#[test]
fn a_missing_position_is_one_mistake() {
    for row in ["P,2,3,", "P,2,,", "P,2,,4", "P,2,x,4"] {
        let messages = messages(&changed("pipe_paths.csv", "P,2,3,4", row));
        assert_eq!(messages.lines().count(), 1, "{messages}");
    }
}

#[test]
fn the_document_is_one_row() {
    for rows in [0, 2] {
        let (mut files, _) = csv::write(&document()).unwrap();
        let (_, bytes) = files.iter_mut().find(|(name, _)| name == "document.csv").unwrap();
        let text = String::from_utf8(bytes.clone()).unwrap();
        let (headings, row) = text.split_once("\r\n").unwrap();
        *bytes = format!("{headings}\r\n{}", row.repeat(rows)).into_bytes();
        let messages = messages(&files);
        assert!(
            messages.contains(&format!("must have one row below the headings, and has {rows}")),
            "{messages}"
        );
    }
}

#[test]
fn files_that_are_not_tables_are_named() {
    let (mut files, _) = csv::write(&document()).unwrap();
    let unknown = "observation.csv:1: /-/observation.csv: this is not the name of a table, so its rows are not read; ";
    files.push(("observation.csv".to_owned(), b"a,b\r\n".to_vec()));
    assert_eq!(
        messages(&files),
        format!("{unknown}rename it, or remove it if it is not a table\n")
    );
    assert_eq!(
        partial_document(&files)
            .map(|partial_document| partial_document.pointer("/runs/0/observations").is_some()),
        Some(true)
    );
    files.retain(|(name, _)| name != "observations.csv");
    assert!(messages(&files).starts_with("observation.csv:1: "), "{}", messages(&files));
    assert!(
        messages(&files)
            .contains(r#"this is not the name of a table; did you mean "observations.csv"?"#)
    );
    // A renamed table is reported as missing, so the others are not checked for it.
    assert_eq!(partial_document(&files), None);
    // Its columns identify it under any name.
    let (mut files, _) = csv::write(&document()).unwrap();
    let (name, _) = files.iter_mut().find(|(name, _)| name == "quantities.csv").unwrap();
    "photos.csv".clone_into(name);
    let named = r#"this is not the name of a table, and the columns are those of quantities.csv; rename it to quantities.csv"#;
    assert!(messages(&files).contains(named), "{}", messages(&files));
    assert_eq!(partial_document(&files), None);
    let (mut files, _) = csv::write(&document()).unwrap();
    files.push(("runs.csv".to_owned(), b"a,b\r\n".to_vec()));
    assert!(messages(&files).contains("two files for this table"));
    files.retain(|(name, _)| name != "document.csv" && name != "runs.csv");
    assert!(messages(&files).starts_with("folder: there is no document.csv"));
    assert!(messages(&Vec::new()).starts_with("folder: there is no document.csv"));
}

/// Orphan rows do not hide other problems; each is reported with its row and column.
#[test]
fn every_orphan_row_is_reported_at_once() {
    let mut files = changed("observations.csv", "R2,1,1,", "R9,1,1,");
    for (file, from, to) in
        [("quantities.csv", "R1,2,1,", "R1,7,1,"), ("quantities.csv", "R1,2,2,", "R1,2,x,")]
    {
        let (_, bytes) = files.iter_mut().find(|(name, _)| name == file).unwrap();
        let text = String::from_utf8(bytes.clone()).unwrap();
        assert!(text.contains(from), "{text}");
        *bytes = text.replace(from, to).into_bytes();
    }
    let (_, bytes) = files.iter_mut().find(|(name, _)| name == "runs.csv").unwrap();
    *bytes = String::from_utf8(bytes.clone()).unwrap().replace("downstream", "down").into_bytes();
    let messages = messages(&files);
    for part in [
        "runs.csv:2:5 (column direction): /runs/0/direction: \"down\" is not one of",
        "observations.csv:4:1 (column run): /runs/-/observations/-: runs.csv has no run \"R9\"",
        "quantities.csv:2:2 (column observation): /runs/-/observations/-/quantities/-: observations.csv has no observation \"7\"",
        "quantities.csv:3:3 (column order): /runs/-/observations/-/quantities/-: the column \"order\" has \"x\"",
    ] {
        assert!(messages.contains(part), "{part} is not in\n{messages}");
    }
}

#[test]
fn a_missing_table_makes_its_rows_orphans() {
    let (mut files, _) = csv::write(&document()).unwrap();
    files.retain(|(name, _)| name != "runs.csv");
    assert!(
        messages(&files)
            .contains("observations.csv:2:1 (column run): /runs: runs.csv is missing, and "),
        "{}",
        messages(&files)
    );
}

/// A table that is missing or has lost all its rows is reported once, with the number of rows that
/// refer to it, instead of once for each.
#[test]
fn a_missing_table_is_reported_once() {
    let (complete, _) = csv::write(&document()).unwrap();
    let rows = |name: &str| {
        let (_, bytes) = complete.iter().find(|(file, _)| file == name).unwrap();
        String::from_utf8_lossy(bytes).lines().count() - 1
    };
    let missing = |files: &Vec<(String, Vec<u8>)>| -> Vec<String> {
        messages(files)
            .lines()
            .filter(|line| line.contains(" its rows; add these rows"))
            .map(str::to_owned)
            .collect()
    };
    let mut files = complete.clone();
    files.retain(|(name, _)| name != "observations.csv");
    let found = missing(&files);
    assert_eq!(found.len(), 1, "{}", messages(&files));
    assert!(
        found[0].contains(
            "(column observation): /runs/-/observations: observations.csv is missing, and "
        ),
        "{found:?}"
    );
    assert!(
        found[0].contains(&format!("and {} rows of quantities.csv belong", rows("quantities.csv"))),
        "{found:?}"
    );
    assert!(!messages(&files).contains("has no observation"), "{}", messages(&files));

    // A table with headings alone has lost its rows.
    let mut files = complete.clone();
    let (_, bytes) = files.iter_mut().find(|(name, _)| name == "observations.csv").unwrap();
    let headings = bytes.iter().position(|byte| *byte == b'\n').unwrap() + 1;
    bytes.truncate(headings);
    assert!(
        missing(&files)[0].contains("observations.csv has no rows, and "),
        "{}",
        messages(&files)
    );

    // A table whose own rows are orphans is not missing.
    let mut files = complete.clone();
    files.retain(|(name, _)| name != "runs.csv");
    let found = missing(&files);
    assert_eq!(found.len(), 1, "{}", messages(&files));
    let both = format!(
        "{} rows of observations.csv, {} rows of quantities.csv",
        rows("observations.csv"),
        rows("quantities.csv")
    );
    assert!(found[0].contains(&both), "{found:?}");
}

#[test]
fn values_are_located_in_their_rows_and_columns() {
    let (files, _) = csv::write(&document()).unwrap();
    let survey = csv::read(&files, "folder").unwrap();
    let cases = [
        ("/runs/0/observations/1/clock/at", "observations.csv:3:8 (column clock.at)"),
        ("/runs/0/observations/1/clock", "observations.csv:3:8 (column clock.at)"),
        ("/runs/1/observations/0/at", "observations.csv:4:3 (column at)"),
        ("/runs/0/observations/1/quantities/1/value", "quantities.csv:3:4 (column value)"),
        ("/runs/1", "runs.csv:3"),
        ("/runs/0/counter/offset", "runs.csv:2:20 (column counter.offset)"),
        ("/structures/0/position/1", "structures.csv:2:5 (column position.y)"),
        ("/structures/0/position", "structures.csv:2:4 (column position.x)"),
        ("/pipes/0/path/1/0", "pipe_paths.csv:3:3 (column x)"),
        ("/units/length", "document.csv:2:6 (column units.length)"),
        ("/id", "document.csv:2:3 (column id)"),
    ];
    for (pointer, place) in cases {
        assert_eq!(
            survey.places.place(pointer).map(|place| place.to_string()).as_deref(),
            Some(place),
            "{pointer}"
        );
    }
}

#[test]
fn changes_made_by_spreadsheets_are_read() {
    let complete = document();
    let (files, _) = csv::write(&complete).unwrap();
    let edit = |change: &dyn Fn(&str) -> String| -> csv::Files {
        let edited =
            files.iter().filter(|(name, _)| name.ends_with(".csv")).map(|(name, bytes)| {
                (name.clone(), change(std::str::from_utf8(bytes).unwrap()).into_bytes())
            });
        edited.collect()
    };
    let edits: [(&str, csv::Files); 6] = [
        ("a mark of UTF-8", edit(&|text| format!("\u{feff}{text}"))),
        ("LF", edit(&|text| text.replace("\r\n", "\n"))),
        ("CR", edit(&|text| text.replace("\r\n", "\r"))),
        ("no end of the last line", edit(&|text| text.trim_end().to_owned())),
        (
            "blank rows",
            edit(&|text| {
                format!(
                    "{text}\r\n{}\r\n",
                    ",".repeat(text.lines().next().unwrap().matches(',').count())
                )
            }),
        ),
        (
            "all cells in quotation marks",
            edit(&|text| {
                let quoted = text.lines().map(|line| {
                    line.split(',').map(|cell| format!("\"{cell}\"")).collect::<Vec<_>>().join(",")
                });
                quoted.collect::<Vec<_>>().join("\r\n")
            }),
        ),
    ];
    for (what, files) in edits {
        let survey = csv::read(&files, "folder").unwrap_or_else(|error| panic!("{what}: {error}"));
        common::assert_same(&complete, &survey.document);
    }
}

#[test]
fn damaged_files_are_errors_with_a_location() {
    let (files, _) = csv::write(&document()).unwrap();
    for (index, (name, bytes)) in
        files.iter().enumerate().filter(|(_, (name, _))| name.ends_with(".csv"))
    {
        let damages: [Vec<u8>; 5] = [
            Vec::new(),
            b"\0\x01\x02\xFF\xFE".to_vec(),
            bytes.iter().flat_map(|byte| [*byte, 0]).collect(),
            std::iter::once(0xFF)
                .chain([0xFE])
                .chain(bytes.iter().flat_map(|byte| [*byte, 0]))
                .collect(),
            [bytes.as_slice(), b"\xE4,\r\n"].concat(),
        ];
        for damage in damages {
            let mut damaged = files.clone();
            damaged[index].1 = damage;
            let messages = messages(&damaged);
            assert!(messages.contains(&format!("{name}:")), "{name}: {messages}");
        }
    }
}

/// The limit is the depth at which the document's JSON can still be read.
#[test]
fn deep_extensions_are_an_error_and_not_a_crash() {
    let places: [(&str, &str, &str); 4] = [
        ("quantities.csv", "R1,2,1,1,mm,", "R1,2,1,1,mm,"),
        ("observations.csv", "R1,1,0,,,a,,,,,,,,,,,,,,", "R1,1,0,,,a,,,,,,,,,,,,,,"),
        ("observations.csv", "R1,1,0,,,a,,,,,,,,,,,,,,", "R1,1,0,,,a,,,,,,,,,,,,EXTENSIONS,,"),
        ("structures.csv", "B,outfall,,,,,,,,,", "B,outfall,,,,,,,,,"),
    ];
    for (file, from, to) in places {
        let mut deepest = 0;
        for depth in (100..130).chain([10_000, 1_000_000]) {
            let deep = format!("\"{{\"\"a.b\"\":{}{}}}\"", "[".repeat(depth), "]".repeat(depth));
            let to = if to.contains("EXTENSIONS") {
                to.replace("EXTENSIONS", &deep)
            } else {
                format!("{to}{deep}")
            };
            match csv::read(&changed(file, from, &to), "folder") {
                Ok(survey) => {
                    let text = common::canonical(&survey.document);
                    assert!(
                        obvert_model::read::document(text.as_bytes()).is_ok(),
                        "{file}, {depth} deep"
                    );
                    deepest = depth;
                }
                Err(error) => assert!(error.to_string().contains(file), "{error}"),
            }
        }
        // With one more level, the document in the tables could not be read.
        let levels = match file {
            "quantities.csv" => 7,
            "structures.csv" => 3,
            _ if to.contains("EXTENSIONS") => 6,
            _ => 5,
        };
        assert_eq!(deepest, 127 - levels - 1, "{file}");
    }
}

proptest! {
    #![proptest_config(common::cases(128))]
    /// Truncating the file or changing any part of it gives a verdict and never a panic.
    #[test]
    fn any_damage_gives_a_verdict(file in 0_usize..15, at in any::<prop::sample::Index>(), bytes in prop::collection::vec(any::<u8>(), 0..6), cut in any::<bool>()) {
        let (mut files, _) = csv::write(&document()).unwrap();
        let index = file % files.len();
        let source = &mut files[index].1;
        let at = at.index(source.len());
        if cut { source.truncate(at) } else { source.splice(at..at, bytes); }
        if let Err(error) = csv::read(&files, "folder") {
            prop_assert!(!error.to_string().is_empty());
        }
    }

    #[test]
    fn any_cells_give_a_verdict(cells in prop::collection::vec("[ -~\\r\\n\u{0}é]{0,6}", 6)) {
        let mut writer = ::csv::Writer::from_writer(Vec::new());
        writer.write_record(["run", "observation", "order", "value", "unit", "extensions"]).unwrap();
        writer.write_record(&cells).unwrap();
        let (mut files, _) = csv::write(&document()).unwrap();
        files.retain(|(name, _)| name != "quantities.csv");
        files.push(("quantities.csv".to_owned(), writer.into_inner().unwrap()));
        let _ = csv::read(&files, "folder");
    }
}
