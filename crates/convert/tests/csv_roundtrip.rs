//! Every document round-trips through its tables byte for byte, as a folder and as a zip.
#![cfg(feature = "csv")]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::io::Cursor;

use obvert_convert::csv;
use obvert_model::tables::Document;
use proptest::prelude::*;

fn files(document: &Document) -> csv::Files {
    let (files, losses) = csv::write(document).unwrap();
    assert!(losses.is_empty());
    files
}

fn text<'f>(files: &'f csv::Files, name: &str) -> &'f str {
    let (_, bytes) =
        files.iter().find(|(file, _)| file == name).unwrap_or_else(|| panic!("no {name}"));
    std::str::from_utf8(bytes).unwrap()
}

#[track_caller]
fn assert_round_trips(what: &str, document: &Document) {
    let written = files(document);
    let survey = csv::read(&written, "folder").unwrap_or_else(|error| panic!("{what}: {error}"));
    common::assert_same(document, &survey.document);

    let mut archive = Cursor::new(Vec::new());
    assert!(csv::write_zip(document, &mut archive).unwrap().is_empty());
    let survey = csv::read_zip(archive.get_ref(), "survey.zip")
        .unwrap_or_else(|error| panic!("{what}: {error}"));
    common::assert_same(document, &survey.document);
}

#[test]
fn handwritten_documents_round_trip() {
    for (what, document) in common::difficult() {
        assert_round_trips(what, &document);
    }
}

proptest! {
    #![proptest_config(common::cases(96))]
    #[test]
    fn arbitrary_documents_round_trip(document in common::documents()) {
        assert_round_trips("arbitrary", &document);
    }

    /// A table with an `order` column may be sorted by any column in a spreadsheet and still
    /// round-trips.
    #[test]
    fn rows_with_an_order_may_be_sorted(document in common::documents()) {
        let mut written = files(&document);
        for (name, bytes) in &mut written {
            if matches!(name.as_str(), "quantities.csv" | "pipe_paths.csv" | "observation_media.csv" | "counter_checks.csv") {
                *bytes = reversed(bytes);
            }
        }
        common::assert_same(&document, &csv::read(&written, "folder").unwrap().document);
    }

    /// Columns may be in any order, and columns without a value may be omitted.
    #[test]
    fn columns_may_be_moved_and_empty_ones_omitted(document in common::documents()) {
        let mut written = files(&document);
        for (name, bytes) in &mut written {
            if name.ends_with(".csv") {
                *bytes = without_empty_columns_from_the_right(bytes);
            }
        }
        common::assert_same(&document, &csv::read(&written, "folder").unwrap().document);
    }
}

fn records(bytes: &[u8]) -> Vec<::csv::StringRecord> {
    let mut reader = ::csv::ReaderBuilder::new().has_headers(false).from_reader(bytes);
    reader.records().map(Result::unwrap).collect()
}

fn table<R: IntoIterator<Item = F>, F: AsRef<[u8]>>(rows: impl IntoIterator<Item = R>) -> Vec<u8> {
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    rows.into_iter().for_each(|row| writer.write_record(row).unwrap());
    writer.into_inner().unwrap()
}

fn reversed(bytes: &[u8]) -> Vec<u8> {
    let records = records(bytes);
    let (headings, rows) = records.split_first().unwrap();
    table(std::iter::once(headings).chain(rows.iter().rev()))
}

fn without_empty_columns_from_the_right(bytes: &[u8]) -> Vec<u8> {
    let records = records(bytes);
    let required = |column: usize| {
        let heading = &records[0][column];
        // A table without rows still needs the headings of its required columns.
        records.len() == 1
            || records[1..].iter().any(|row| !row[column].is_empty())
            || heading == "id"
    };
    let kept: Vec<usize> = (0..records[0].len()).rev().filter(|column| required(*column)).collect();
    table(
        records
            .iter()
            .map(|row| kept.iter().map(|column| row[*column].to_owned()).collect::<Vec<_>>()),
    )
}

#[test]
fn streamed_runs_give_the_same_bytes() {
    for (_, document) in common::difficult() {
        let mut survey = obvert_convert::DocumentRuns::new(&document);
        let (streamed, losses) = csv::write_runs(&mut survey, |_| Ok(Vec::new())).unwrap();
        assert!(losses.is_empty());
        assert_eq!(streamed, files(&document));
    }
}

#[test]
fn equal_documents_give_equal_archives() {
    let document = common::document_of(common::full(3));
    let zip = || {
        let mut archive = Cursor::new(Vec::new());
        csv::write_zip(&document, &mut archive).unwrap();
        archive.into_inner()
    };
    assert_eq!(zip(), zip());
}

#[test]
fn the_order_of_files_and_their_package_descriptor_do_not_matter() {
    let document = common::document_of(common::full(1));
    let mut written = files(&document);
    written.reverse();
    written.retain(|(name, _)| name != "datapackage.json");
    written.push(("README.txt".to_owned(), b"not a table".to_vec()));
    written.push(("photos/list.csv".to_owned(), b"not a table of the package".to_vec()));
    common::assert_same(&document, &csv::read(&written, "folder").unwrap().document);
}

#[test]
fn tables_without_rows_may_be_absent() {
    let document = common::document_of(common::minimal());
    let mut written = files(&document);
    written.retain(|(name, _)| name == "document.csv");
    common::assert_same(&document, &csv::read(&written, "folder").unwrap().document);
}

/// RFC 4180 section 2. The byte-order mark of UTF-8 is never written (section 1 of the format).
#[test]
fn files_are_plain_csv() {
    for (_, document) in common::difficult() {
        for (name, bytes) in files(&document) {
            assert!(!bytes.starts_with(b"\xEF\xBB\xBF"), "{name}");
            if name.ends_with(".csv") {
                assert!(bytes.ends_with(b"\r\n"), "{name}");
                let fields: Vec<usize> =
                    records(&bytes).iter().map(::csv::StringRecord::len).collect();
                assert!(fields.iter().all(|count| *count == fields[0]), "{name}");
            }
        }
    }
}

/// OWASP "CSV Injection" and ASVS 5.0 1.2.10: no text cell begins with a character that starts a
/// formula.
#[test]
fn no_cell_is_a_formula() {
    let hazards = ['=', '+', '-', '@', '\t', '\r', '\n', '\0'];
    let mut seen = 0;
    for (what, document) in common::difficult() {
        for (name, bytes) in files(&document).into_iter().filter(|(name, _)| name.ends_with(".csv"))
        {
            for cell in records(&bytes)
                .iter()
                .flat_map(|row| row.iter().map(str::to_owned).collect::<Vec<_>>())
            {
                seen += usize::from(cell.starts_with('\''));
                assert!(
                    !cell.starts_with(hazards) || cell.parse::<f64>().is_ok(),
                    "{what}: {name}: {cell:?}"
                );
            }
        }
    }
    assert!(seen > 20, "the test documents have texts that look like formulas");
}

#[test]
fn tables_read_as_an_office_would_expect() {
    let document = common::document_of(serde_json::json!({
        "obvert": "0.2", "id": "d", "issued": "2026-05-06T16:20:00-05:00",
        "units": { "length": "ft", "section": "in" }, "coding": { "list": "obvert-terms", "version": "1" },
        "structures": [{ "id": "LM-014", "kind": "manhole", "position": [2481000.5, 1.5] }],
        "pipes": [{ "id": "L-101", "upstream": "LM-014", "path": [[0, 0], [0.5, -3]] }],
        "runs": [{
            "id": "R1", "pipe": "L-101", "direction": "downstream", "equipment": ["crawler", "reel"],
            "counter": { "zero": "pipe-end", "checks": [{ "reading": 10, "known": 10.1 }] },
            "observations": [
                { "id": "1", "at": 0, "code": "run.start" },
                { "id": "2", "at": 12.4, "to": 44.2, "continuous": true, "code": "crack.longitudinal", "characterisation": ["A", "B;C"],
                  "quantities": [{ "value": 3, "unit": "mm" }, { "value": 20, "unit": "percent" }],
                  "clock": { "from": 11, "to": 1 }, "remark": "wide, \"open\"\n-see photo", "media": [{ "id": "m1", "offset": 63.5 }],
                  "extensions": { "org.example.x": [1] } }
            ]
        }]
    }));
    let files = files(&document);
    assert_eq!(
        text(&files, "observations.csv"),
        "run,id,at,to,continuous,code,characterisation,clock.at,clock.from,clock.to,joint,joins,flow,clear,\
         grades.structural,grades.operational,remark,clock.extensions,grades.extensions,extensions\r\n\
         R1,1,0,,,run.start,,,,,,,,,,,,,,\r\n\
         R1,2,12.4,44.2,true,crack.longitudinal,A;B\\;C,,11,1,,,,,,,\"wide, \"\"open\"\"\n-see photo\",,,\"{\"\"org.example.x\"\":[1]}\"\r\n"
    );
    assert_eq!(
        text(&files, "quantities.csv"),
        "run,observation,order,value,unit,extensions\r\nR1,2,1,3,mm,\r\nR1,2,2,20,percent,\r\n"
    );
    assert_eq!(
        text(&files, "observation_media.csv"),
        "run,observation,order,id,offset,extensions\r\nR1,2,1,m1,63.5,\r\n"
    );
    assert_eq!(
        text(&files, "counter_checks.csv"),
        "run,order,reading,known,extensions\r\nR1,1,10,10.1,\r\n"
    );
    assert_eq!(
        text(&files, "pipe_paths.csv"),
        "pipe,order,x,y\r\nL-101,1,0,0\r\nL-101,2,0.5,-3\r\n"
    );
    assert!(text(&files, "structures.csv").contains("LM-014,manhole,,2481000.5,1.5,"));
    assert!(text(&files, "runs.csv").contains(",crawler;reel,"));
    assert_eq!(text(&files, "parties.csv").lines().count(), 1);
}
