//! Reading a run at a time gives what reading the whole gives: the same document, or the same complaint, in every form and
//! whatever has happened to a file. And it is read a run at a time indeed, where the rows stand as they are written.
#![cfg(all(feature = "csv", feature = "geojson", feature = "geopackage", feature = "xlsx", feature = "xml"))]
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod common;

use std::cell::{Cell, RefCell};
use std::io::Cursor;
use std::rc::Rc;

use obvert_convert::{ConvertError, Each, Survey, csv, geojson, geopackage, xlsx, xml};
use obvert_model::read::Runs;
use obvert_model::tables::{Document, Head, Run};
use proptest::prelude::*;
use serde_json::json;

type Work<'w> = &'w mut dyn FnMut(&Head, &mut dyn Runs) -> Document;
type Written = Vec<(String, Vec<u8>)>;

/// A form: how it is written, read, read by the road that holds the whole, and read a run at a time.
struct Form {
    name: &'static str,
    write: fn(&Document) -> Option<Written>,
    read: fn(&Written) -> Result<Survey, ConvertError>,
    whole: fn(&Written) -> Result<Survey, ConvertError>,
    stream: fn(&Written, Work<'_>) -> Result<Document, ConvertError>,
}

fn one(bytes: Vec<u8>) -> Option<Written> {
    Some(vec![(String::new(), bytes)])
}

fn written(write: impl FnOnce(&mut Vec<u8>) -> Result<obvert_convert::LossReport, ConvertError>) -> Option<Written> {
    let mut bytes = Vec::new();
    write(&mut bytes).ok()?;
    one(bytes)
}

const FORMS: [Form; 6] = [
    Form {
        name: "csv",
        write: |document| Some(csv::write(document).unwrap().0),
        read: |files| csv::read(files, "tables"),
        whole: |files| csv::read_whole(files, "tables"),
        stream: |files, work| csv::read_stream(files, "tables", work),
    },
    Form {
        name: "csv-zip",
        write: |document| {
            let mut zip = Cursor::new(Vec::new());
            csv::write_zip(document, &mut zip).unwrap();
            one(zip.into_inner())
        },
        read: |files| csv::read_zip(&files[0].1, "x.zip"),
        whole: |files| csv::read_zip(&files[0].1, "x.zip"),
        stream: |files, work| csv::read_zip_stream(&files[0].1, "x.zip", work),
    },
    Form {
        name: "xml",
        write: |document| written(|sink| xml::write(document, sink)),
        read: |files| xml::read(&files[0].1, "x.xml"),
        whole: |files| xml::read(&files[0].1, "x.xml"),
        stream: |files, work| xml::read_stream(&files[0].1, "x.xml", work),
    },
    Form {
        name: "geojson",
        // A document whose reference system cannot be taken to WGS 84 is refused.
        write: |document| written(|sink| geojson::write(document, sink)),
        read: |files| geojson::read(&files[0].1, "x.geojson"),
        whole: |files| geojson::read_with(&files[0].1, "x.geojson", geojson::Moved::Refuse),
        stream: |files, work| geojson::read_stream(&files[0].1, "x.geojson", work),
    },
    Form {
        name: "xlsx",
        write: |document| written(|sink| xlsx::write(document, sink)),
        read: |files| xlsx::read(&files[0].1, "x.xlsx"),
        whole: |files| xlsx::read_whole(&files[0].1, "x.xlsx", xlsx::ZipLimits::default()),
        stream: |files, work| xlsx::read_stream(&files[0].1, "x.xlsx", work),
    },
    Form {
        name: "geopackage",
        write: |document| written(|sink| geopackage::write(document, sink)),
        read: |files| geopackage::read(&files[0].1, "x.gpkg"),
        whole: |files| geopackage::read_whole(&files[0].1, "x.gpkg"),
        stream: |files, work| geopackage::read_stream(&files[0].1, "x.gpkg", work),
    },
];

fn whole(head: &Head, runs: &mut dyn Runs) -> Document {
    Document { head: head.clone(), runs: Each(runs).collect() }
}

/// What all roads make of a file, as texts: that of whoever reads it at once, which must be that of the whole, and that of a stream.
fn both(form: &Form, files: &Written) -> (Result<String, String>, Result<String, String>) {
    let text = |read: Result<Document, ConvertError>| match read {
        Ok(document) => Ok(common::canonical(&document)),
        Err(ConvertError::Structure(problems)) => {
            Err(problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))
        }
        Err(error) => Err(error.to_string()),
    };
    let held = text((form.whole)(files).map(|survey| survey.document));
    assert_eq!(text((form.read)(files).map(|survey| survey.document)), held, "{}", form.name);
    (held, text((form.stream)(files, &mut whole)))
}

/// The pointers of all values in a value.
fn pointers(value: &serde_json::Value, at: &str, found: &mut Vec<String>) {
    found.push(at.to_owned());
    match value {
        serde_json::Value::Array(items) => {
            items.iter().enumerate().for_each(|(index, item)| pointers(item, &format!("{at}/{index}"), found));
        }
        serde_json::Value::Object(keys) => {
            keys.iter().for_each(|(key, item)| {
                pointers(item, &format!("{at}/{}", key.replace('~', "~0").replace('/', "~1")), found)
            });
        }
        _ => {}
    }
}

/// The road that most surveys take places every value where the other one does.
#[test]
fn every_form_places_values_alike_on_both_roads() {
    for (what, document) in common::nasty().into_iter().chain([("with runs", with_runs(3))]) {
        let mut all = Vec::new();
        pointers(&serde_json::to_value(&document).unwrap(), "", &mut all);
        for form in &FORMS {
            let Some(files) = (form.write)(&document) else { continue };
            let (read, whole) = ((form.read)(&files).unwrap().places, (form.whole)(&files).unwrap().places);
            for pointer in &all {
                assert_eq!(read.place(pointer), whole.place(pointer), "{}: {what}: {pointer}", form.name);
            }
        }
    }
}

#[test]
fn every_form_gives_the_same_document_both_ways() {
    for (what, document) in common::nasty() {
        for form in &FORMS {
            let Some(files) = (form.write)(&document) else { continue };
            let (read, streamed) = both(form, &files);
            assert_eq!(read, streamed, "{}: {what}", form.name);
            assert_eq!(read, Ok(common::canonical(&document)), "{}: {what}", form.name);
        }
    }
}

/// A document with some runs, in which everything a run holds stands.
fn with_runs(count: usize) -> Document {
    let mut value = common::full(0);
    let run = value["runs"][0].clone();
    value["crs"] = json!("EPSG:32617");
    value["structures"] = json!([
        { "id": "A", "kind": "manhole", "position": [500_000, 4_000_000] },
        { "id": "B", "kind": "manhole", "position": [500_100, 4_000_000] }
    ]);
    value["pipes"] = json!([{ "id": "P", "upstream": "A", "downstream": "B" }]);
    value["locates"] = json!([]);
    value["runs"] = (0..count)
        .map(|number| {
            let mut run = run.clone();
            run["id"] = json!(format!("R{number}"));
            run["pipe"] = json!("P");
            let row = run["observations"][0].clone();
            run["observations"] = (0..3)
                .map(|number| {
                    let mut row = row.clone();
                    row["id"] = json!(format!("o{number}"));
                    row
                })
                .collect();
            run
        })
        .collect();
    common::document_of(value)
}

#[test]
fn a_run_is_there_before_the_next_is_read() {
    let document = with_runs(5);
    for form in &FORMS {
        let mut files = (form.write)(&document).unwrap();
        // The last run is spoilt: whoever has been given the ones before it was given them before that was read.
        let spoilt = match form.name {
            "csv" => files.iter_mut().find(|(name, _)| name == "runs.csv").map(|(_, bytes)| (bytes, "R4,", "R0,")),
            "xml" => Some((&mut files[0].1, "<id>R4</id>", "<idd>R4</idd>")),
            "geojson" => Some((&mut files[0].1, "\"id\":\"R4\"", "\"id\":\"R0\"")),
            // What is packed is spoilt by the tests of each form.
            _ => continue,
        };
        let (bytes, from, to) = spoilt.unwrap();
        let text = String::from_utf8(bytes.clone()).unwrap();
        assert!(text.contains(from), "{}", form.name);
        *bytes = text.replace(from, to).into_bytes();
        let seen = RefCell::new(Vec::new());
        let result = (form.stream)(&files, &mut |head, runs| {
            seen.borrow_mut().extend(Each(runs).map(|run| run.id.to_string()));
            Document { head: head.clone(), runs: Vec::new() }
        });
        assert!(result.is_err(), "{}", form.name);
        let seen = seen.into_inner();
        assert_eq!(seen[..4], ["R0", "R1", "R2", "R3"], "{}", form.name);
    }
}

#[test]
fn work_is_called_once_where_rows_stand_as_they_are_written() {
    let document = with_runs(3);
    for form in &FORMS {
        let files = (form.write)(&document).unwrap();
        let calls = Rc::new(Cell::new(0));
        let result = (form.stream)(&files, &mut |head, runs| {
            calls.set(calls.get() + 1);
            whole(head, runs)
        });
        common::assert_same(&document, &result.unwrap());
        assert_eq!(calls.get(), 1, "{}", form.name);
    }
}

#[test]
fn rows_in_another_order_give_the_same_document() {
    let document = with_runs(4);
    // CSV: the rows of the observations from the last to the first.
    let mut files = csv::write(&document).unwrap().0;
    let (_, rows) = files.iter_mut().find(|(name, _)| name == "runs.csv").unwrap();
    let text = String::from_utf8(rows.clone()).unwrap();
    let mut lines: Vec<&str> = text.split_inclusive("\r\n").collect();
    lines[1..].reverse();
    *rows = lines.concat().into_bytes();
    let (read, streamed) = both(&FORMS[0], &files);
    assert_eq!(read, streamed);
    let mut turned = document.clone();
    turned.runs.reverse();
    assert_eq!(read, Ok(common::canonical(&turned)));

    // GeoJSON: all features from the last to the first, as a program may sort them.
    let files = (FORMS[3].write)(&document).unwrap();
    let mut value: serde_json::Value = serde_json::from_slice(&files[0].1).unwrap();
    value["features"].as_array_mut().unwrap().reverse();
    let (read, streamed) = both(&FORMS[3], &one(value.to_string().into_bytes()).unwrap());
    assert!(read.is_ok(), "{read:?}");
    assert_eq!(read, streamed);
}

#[test]
fn work_that_takes_nothing_changes_no_verdict() {
    let document = with_runs(3);
    for form in &FORMS {
        let files = (form.write)(&document).unwrap();
        let taken = (form.stream)(&files, &mut |head, _| Document { head: head.clone(), runs: Vec::<Run>::new() });
        assert_eq!(taken.unwrap().head, document.head, "{}", form.name);
    }
}

proptest! {
    #![proptest_config(common::cases(24))]

    #[test]
    fn any_document_comes_back_a_run_at_a_time(document in common::documents()) {
        for form in &FORMS {
            let Some(files) = (form.write)(&document) else { continue };
            match (form.stream)(&files, &mut whole) {
                Ok(streamed) => common::assert_same(&document, &streamed),
                Err(error) => panic!("{}: {error}", form.name),
            }
        }
    }

    /// Whatever happens to a text, both roads say the same of it.
    #[test]
    fn both_roads_judge_alike(
        number in 0_usize..4,
        which in prop::sample::select(vec![0_usize, 2, 3]),
        file in any::<prop::sample::Index>(),
        at in any::<prop::sample::Index>(),
        cut in 0_usize..40,
        put in prop::sample::select(vec!["", "0", "\"", ",", "\n", "<", "{", "}", "[", "null,", "<id>R1</id>", "R1", "1e9", "é"]),
    ) {
        let form = &FORMS[which];
        let mut files = (form.write)(&with_runs(number)).unwrap();
        let chosen = file.index(files.len());
        let (_, bytes) = &mut files[chosen];
        let start = at.index(bytes.len() + 1);
        let end = (start + cut).min(bytes.len());
        bytes.splice(start..end, put.bytes());
        let (read, streamed) = both(form, &files);
        prop_assert_eq!(read, streamed);
    }
}
