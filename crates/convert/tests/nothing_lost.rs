//! Nothing is lost or changed without a word: a change of any one value of a document changes the
//! written file or the report, in every format; a change of any one cell of a file changes the
//! document or the error; and a report without losses is true. `PROPTEST_CASES` raises the number
//! of cases of each format.
#![cfg(all(
    feature = "csv",
    feature = "geojson",
    feature = "geopackage",
    feature = "geoparquet",
    feature = "kml",
    feature = "xlsx",
    feature = "xml"
))]
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

#[path = "nothing_lost/database.rs"]
mod database;
#[path = "nothing_lost/features.rs"]
mod features;
#[path = "nothing_lost/sheets.rs"]
mod sheets;

mod common;

use std::io::Cursor;

use common::changes::{self, Change};
use common::{canonical, cases, document_of, documents};
use obvert_convert::{
    ConvertError, LossKind, LossReport, Survey, csv, geojson, geopackage, geoparquet, kml, xlsx,
    xml,
};
use obvert_model::tables::Document;
use proptest::prelude::*;
use serde_json::Value;

const EVERY_FIELD: &str = include_str!("../../../tests/data/every-field.obvert.json");
const LARKMOOR: &str = include_str!("../../../examples/data/larkmoor.obvert.json");

/// The files of a format.
type Files = Vec<(String, Vec<u8>)>;
type Written = Result<(Files, LossReport), ConvertError>;
type Reader = fn(&Files) -> Result<Survey, ConvertError>;

/// A format: how it is written, and how it is read if it is.
struct Form {
    name: &'static str,
    write: fn(&Document) -> Written,
    read: Option<Reader>,
    /// How many changes are tried unless more are asked for; writing some formats takes longer.
    cases: u32,
}

/// A format of one file.
macro_rules! form {
    ($name:ident, $cases:literal, $read:expr) => {
        Form {
            name: stringify!($name),
            write: |document| {
                let mut sink = Cursor::new(Vec::new());
                let report = $name::write(document, &mut sink)?;
                Ok((vec![(String::new(), sink.into_inner())], report))
            },
            read: $read,
            cases: $cases,
        }
    };
}

fn forms() -> Vec<Form> {
    vec![
        form!(xml, 200, Some(|files| xml::read(&files[0].1, "s.xml"))),
        form!(geojson, 200, Some(|files| geojson::read(&files[0].1, "s.geojson"))),
        form!(xlsx, 30, Some(|files| xlsx::read(&files[0].1, "s.xlsx"))),
        form!(geopackage, 20, Some(|files| geopackage::read(&files[0].1, "s.gpkg"))),
        form!(kml, 200, None),
        Form {
            name: "csv",
            write: csv::write,
            read: Some(|files| csv::read(files, "s")),
            cases: 200,
        },
        Form {
            name: "csv-zip",
            write: |document| {
                let mut sink = Cursor::new(Vec::new());
                let report = csv::write_zip(document, &mut sink)?;
                Ok((vec![(String::new(), sink.into_inner())], report))
            },
            read: Some(|files| csv::read_zip(&files[0].1, "s.zip")),
            cases: 40,
        },
        Form { name: "geoparquet", write: geoparquet::write, read: None, cases: 40 },
    ]
}

fn asked(count: u32) -> usize {
    cases(count).cases as usize
}

/// Whether a report names a value or what contains it.
fn names(report: &LossReport, pointer: &str) -> bool {
    report.losses.iter().any(|loss| {
        let below = pointer.strip_prefix(loss.pointer.as_str());
        matches!(loss.kind, LossKind::Dropped | LossKind::Changed)
            && below.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    })
}

fn assert_told(form: &Form, base: &(Files, LossReport), change: &Change) {
    let Change { pointer, becomes, document } = change;
    let Ok(written) = (form.write)(document) else { return };
    let is_told = written != *base
        || form.read.is_none() && names(&base.1, pointer) && names(&written.1, pointer);
    assert!(
        is_told,
        "{}: {pointer} becomes {becomes:?}, and neither the file nor the report changes",
        form.name
    );
}

#[test]
fn a_change_of_any_value_changes_the_file_or_the_report() {
    for (source, share) in [(EVERY_FIELD, 1), (LARKMOOR, 4)] {
        let value: Value = serde_json::from_str(source).unwrap();
        let document = document_of(value.clone());
        for form in forms() {
            let base = (form.write)(&document).unwrap();
            let again = (form.write)(&document).unwrap();
            assert!(base == again, "{}: equal documents give different files", form.name);
            let changes = changes::of(&value, asked(form.cases / share));
            assert!(changes.len() > 2, "{}", changes.len());
            println!("{}: {} changes", form.name, changes.len());
            changes.iter().for_each(|change| assert_told(&form, &base, change));
        }
    }
}

/// A report without losses is true for a document: what is read back is the same.
fn assert_true_account(form: &Form, document: &Document) -> Result<(), TestCaseError> {
    let Ok((files, report)) = (form.write)(document) else { return Ok(()) };
    let Some(read) = form.read else { return Ok(()) };
    if report.loses() {
        return Ok(());
    }
    let back = read(&files);
    prop_assert!(back.is_ok(), "{}: {}", form.name, back.unwrap_err());
    prop_assert_eq!(canonical(&back.unwrap().document), canonical(document), "{}", form.name);
    Ok(())
}

proptest! {
    #![proptest_config(cases(6))]
    #[test]
    fn a_report_without_losses_is_true(document in documents()) {
        for form in forms() {
            assert_true_account(&form, &document)?;
        }
    }

    /// Of arbitrary documents, a change that is drawn.
    #[test]
    fn a_change_of_any_value_of_any_document_is_told(document in documents(), seed in any::<prop::sample::Index>()) {
        let value = serde_json::to_value(&document).unwrap();
        let mut changes = changes::of(&value, 40);
        if changes.is_empty() {
            return Ok(());
        }
        let change = changes.swap_remove(seed.index(changes.len()));
        for form in forms() {
            if let Ok(base) = (form.write)(&document) {
                assert_told(&form, &base, &change);
            }
        }
    }
}

/// A text with one letter or digit replaced by another one, at a drawn place.
fn mutated(text: &[u8], seed: usize) -> Option<Vec<u8>> {
    let places: Vec<usize> =
        (0..text.len()).filter(|at| text[*at].is_ascii_alphanumeric()).collect();
    let at = *places.get(seed % places.len().max(1))?;
    let mut changed = text.to_vec();
    changed[at] = match changed[at] {
        b'9' => b'3',
        digit if digit.is_ascii_digit() => digit + 1,
        b'z' | b'Z' => b'q',
        letter => letter + 1,
    };
    Some(changed)
}

/// Whether the cell that was changed is one of the column `order`.
fn is_of_order(bytes: &[u8], changed: &[u8]) -> bool {
    let at = bytes.iter().zip(changed).position(|(one, other)| one != other).unwrap_or(0);
    let start = bytes[..at].iter().rposition(|byte| *byte == b'\n').map_or(0, |end| end + 1);
    let column = bytes[start..at].iter().filter(|byte| **byte == b',').count();
    let headings = bytes.split(|byte| *byte == b'\r').next().unwrap_or_default();
    start > 0 && headings.split(|byte| *byte == b',').nth(column) == Some(b"order".as_slice())
}

/// Every letter and digit of the tables: names of tables and columns, and values.
#[test]
fn a_change_of_any_cell_of_the_tables_changes_the_document_or_the_error() {
    let document = document_of(serde_json::from_str(EVERY_FIELD).unwrap());
    let (files, _) = csv::write(&document).unwrap();
    let mut count = 0;
    for (index, (name, bytes)) in files.iter().enumerate() {
        // The description of the tables is for other programs, and not read.
        if !name.ends_with(".csv") {
            continue;
        }
        let letters = bytes.iter().filter(|byte| byte.is_ascii_alphanumeric()).count();
        let step = (letters / asked(40)).max(1);
        for seed in (0..letters).step_by(step) {
            let mut changed = files.clone();
            changed[index].1 = mutated(bytes, seed).unwrap();
            count += 1;
            // Only the sequence of `order` counts, and gaps are allowed (spec/formats/csv.md).
            if is_of_order(bytes, &changed[index].1) {
                continue;
            }
            if let Ok(survey) = csv::read(&changed, "s") {
                let line = String::from_utf8_lossy(&changed[index].1).into_owned();
                assert!(survey.document != document, "{name}: letter {seed} of {line}");
            }
        }
    }
    println!("{count} changes of cells");
    assert!(count > 300);
}

/// Values in XML: attributes and texts. The declaration and the names of namespaces are not values.
#[test]
fn a_change_of_any_value_of_the_xml_changes_the_document_or_the_error() {
    let document = document_of(serde_json::from_str(EVERY_FIELD).unwrap());
    let mut bytes = Vec::new();
    xml::write(&document, &mut bytes).unwrap();
    let letters = bytes.iter().filter(|byte| byte.is_ascii_alphanumeric()).count();
    let step = (letters / asked(400)).max(1);
    let mut count = 0;
    for seed in (0..letters).step_by(step) {
        let changed = mutated(&bytes, seed).unwrap();
        count += 1;
        if let Ok(survey) = xml::read(&changed, "s.xml") {
            let at = bytes.iter().zip(&changed).position(|(one, other)| one != other).unwrap();
            let around =
                String::from_utf8_lossy(&bytes[at.saturating_sub(60)..(at + 60).min(bytes.len())]);
            let is_declared = bytes[..at].iter().filter(|byte| **byte == b'>').count() < 1;
            assert!(survey.document != document || is_declared, "letter {seed}: {around}");
        }
    }
    println!("{count} changes");
    assert!(count > 300);
}
