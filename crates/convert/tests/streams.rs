//! Reading run by run gives the same result as the diagnostic path, the document or the problems,
//! in every format and for damaged files. Runs are actually streamed if the rows are in the order
//! in which Obvert writes them.
#![cfg(all(
    feature = "csv",
    feature = "geojson",
    feature = "geopackage",
    feature = "xlsx",
    feature = "xml"
))]
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod common;

use std::io::Cursor;

use obvert_convert::{
    ConvertError, DocumentRuns, Format, Formats, Input, Locations, MemoryFolder, Output,
    PlacedProblem, Source,
};
use obvert_model::tables::Document;
use proptest::prelude::*;
use serde::Deserialize;
use serde_json::json;

/// The files of a survey with their names; the name is empty unless the survey is a folder.
type Written = Vec<(String, Vec<u8>)>;

/// The formats that are read.
fn formats() -> Vec<&'static Format> {
    let all: Vec<_> = Formats::built_in().iter().filter(|format| format.is_read()).collect();
    assert_eq!(all.len(), 7);
    all
}

fn format(name: &str) -> &'static Format {
    Formats::built_in().get(name).unwrap()
}

/// A document in a format. `None` if the format cannot hold it, as GeoJSON cannot without a known
/// reference system.
fn written(format: &Format, document: &Document) -> Option<Written> {
    let mut survey = DocumentRuns::new(document);
    if format.folder().is_some() {
        let mut folder = MemoryFolder::default();
        format.write(&mut survey, Output::Folder(&mut folder)).ok()?;
        return Some(folder.into_files());
    }
    let mut file = Cursor::new(Vec::new());
    format.write(&mut survey, Output::File(&mut file)).ok()?;
    Some(vec![(String::new(), file.into_inner())])
}

fn open<'f>(format: &Format, files: &'f Written) -> Result<Box<dyn Source + 'f>, ConvertError> {
    format.source(match format.folder() {
        Some(_) => Input::folder(
            "tables",
            files.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())),
        ),
        None => Input::file("x", files[0].1.as_slice()),
    })
}

/// The result of reading, as text: the document, or all its problems.
type Verdict = Result<String, String>;

fn complaint<'p>(problems: impl IntoIterator<Item = &'p PlacedProblem>) -> String {
    problems.into_iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

fn verdict(read: Result<Document, ConvertError>) -> Verdict {
    match read {
        Ok(document) => Ok(common::canonical(&document)),
        Err(ConvertError::Structure(problems)) => Err(complaint(&problems)),
        Err(error) => Err(error.to_string()),
    }
}

/// The result of reading run by run.
fn run_by_run(format: &Format, files: &Written) -> Verdict {
    let read = |source: &mut dyn Source| {
        let mut reader = source.read(Locations::Skipped)?;
        let mut runs = Vec::new();
        while let Some(run) = reader.next_run()? {
            runs.push(run);
        }
        Ok(Document { head: reader.head().clone(), runs })
    };
    verdict(open(format, files).and_then(|mut source| {
        let document = read(&mut *source);
        document.map_err(|error| source.explain(error))
    }))
}

/// The result of the diagnostic path.
fn diagnosed(format: &Format, files: &Written) -> Verdict {
    let diagnosis = match open(format, files).and_then(|mut source| source.diagnose()) {
        Ok(diagnosis) => diagnosis,
        Err(error) => return Err(error.to_string()),
    };
    if diagnosis.problems.is_empty() {
        let document = Document::deserialize(&diagnosis.value.unwrap()).unwrap();
        return Ok(common::canonical(&document));
    }
    Err(complaint(&diagnosis.problems))
}

/// The result of reading a file run by run, which must equal that of the diagnostic path and of
/// reading the whole document.
fn same_verdict(format: &Format, files: &Written) -> Verdict {
    let diagnosed = diagnosed(format, files);
    let complete = verdict(
        open(format, files).and_then(|mut source| source.survey()).map(|survey| survey.document),
    );
    assert_eq!(complete, diagnosed, "{format}");
    assert_eq!(run_by_run(format, files), diagnosed, "{format}");
    diagnosed
}

/// The pointers of all values in a value.
fn pointers(value: &serde_json::Value, at: &str, found: &mut Vec<String>) {
    found.push(at.to_owned());
    match value {
        serde_json::Value::Array(items) => {
            items
                .iter()
                .enumerate()
                .for_each(|(index, item)| pointers(item, &format!("{at}/{index}"), found));
        }
        serde_json::Value::Object(keys) => {
            keys.iter().for_each(|(key, item)| {
                pointers(
                    item,
                    &format!("{at}/{}", key.replace('~', "~0").replace('/', "~1")),
                    found,
                )
            });
        }
        _ => {}
    }
}

/// Streaming gives every value the same location as the diagnostic path.
#[test]
fn every_format_locates_values_the_same_on_both_paths() {
    for (what, document) in common::difficult().into_iter().chain([("with runs", with_runs(3))]) {
        let mut all = Vec::new();
        pointers(&serde_json::to_value(&document).unwrap(), "", &mut all);
        for format in formats() {
            let Some(files) = written(format, &document) else { continue };
            let read = open(format, &files).unwrap().survey().unwrap().places;
            let diagnosed = open(format, &files).unwrap().diagnose().unwrap().locations;
            let pointers: Vec<&str> = all.iter().map(String::as_str).collect();
            let located = open(format, &files).unwrap().locate(&pointers).unwrap();
            for (pointer, located) in all.iter().zip(located) {
                let place = read.place(pointer);
                assert!(place.is_some(), "{format}: {what}: {pointer}");
                assert_eq!(place, diagnosed.place(pointer), "{format}: {what}: {pointer}");
                assert_eq!(place, located, "{format}: {what}: {pointer}");
            }
        }
    }
}

#[test]
fn every_format_gives_the_same_document_on_both_paths() {
    for (what, document) in common::difficult() {
        for format in formats() {
            let Some(files) = written(format, &document) else { continue };
            assert_eq!(
                same_verdict(format, &files),
                Ok(common::canonical(&document)),
                "{format}: {what}"
            );
        }
    }
}

/// A document with some runs that contain every kind of value.
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
fn a_run_is_available_before_the_next_is_read() {
    let mut document = serde_json::to_value(with_runs(5)).unwrap();
    document["runs"][4]["direction"] = json!("upstream");
    document["runs"][0]["direction"] = json!("downstream");
    let directions: Vec<_> = (1..4).map(|run| document["runs"][run]["direction"].clone()).collect();
    assert!(directions.iter().all(|direction| direction == "downstream"), "{directions:?}");
    let document = common::document_of(document);
    for name in ["json", "csv", "xml", "geojson"] {
        let format = format(name);
        let mut files = written(format, &document).unwrap();
        // The last run is damaged: the runs before it have been returned by then.
        let (_, bytes) =
            files.iter_mut().find(|(name, _)| name.is_empty() || name == "runs.csv").unwrap();
        let text = String::from_utf8(bytes.clone()).unwrap();
        assert_eq!(
            text.matches("upstream").count(),
            if name == "csv" { 1 } else { text.matches("upstream").count() }
        );
        let at = text.rfind("upstream").unwrap();
        bytes.splice(at..at + "up".len(), *b"xp");
        let mut source = open(format, &files).unwrap();
        let mut reader = source.read(Locations::Skipped).unwrap();
        let mut seen = Vec::new();
        let error = loop {
            match reader.next_run() {
                Ok(Some(run)) => seen.push(run.id.to_string()),
                Ok(None) => panic!("{name}: taken"),
                Err(error) => break error,
            }
        };
        assert_eq!(seen, ["R0", "R1", "R2", "R3"], "{name}");
        assert!(
            matches!(&error, ConvertError::Invalid { place: Some(_), .. }),
            "{name}: {error:?}"
        );
        // Nothing follows an error.
        assert!(matches!(reader.next_run(), Ok(None)), "{name}");
    }
}

/// Returns whether a survey is read run by run. A survey held in memory has all its locations at
/// once.
fn is_read_run_by_run(format: &Format, files: &Written) -> bool {
    let mut source = open(format, files).unwrap();
    let mut reader = source.read(Locations::Skipped).unwrap();
    while reader.next_run().unwrap().is_some() {}
    reader.finish().locations.is_none()
}

#[test]
fn nothing_is_held_if_rows_are_in_the_order_in_which_they_are_written() {
    let document = with_runs(3);
    for format in formats() {
        let files = written(format, &document).unwrap();
        assert!(is_read_run_by_run(format, &files), "{format}");
    }
}

#[test]
fn rows_in_another_order_give_the_same_document() {
    let document = with_runs(4);
    // CSV: the runs in reverse order.
    let csv = format("csv");
    let mut files = written(csv, &document).unwrap();
    let (_, rows) = files.iter_mut().find(|(name, _)| name == "runs.csv").unwrap();
    let text = String::from_utf8(rows.clone()).unwrap();
    let mut lines: Vec<&str> = text.split_inclusive("\r\n").collect();
    lines[1..].reverse();
    *rows = lines.concat().into_bytes();
    let mut turned = document.clone();
    turned.runs.reverse();
    assert_eq!(same_verdict(csv, &files), Ok(common::canonical(&turned)));
    assert!(!is_read_run_by_run(csv, &files));

    // GeoJSON: all features in reverse order, as a program may sort them.
    let geojson = format("geojson");
    let files = written(geojson, &document).unwrap();
    let mut value: serde_json::Value = serde_json::from_slice(&files[0].1).unwrap();
    value["features"].as_array_mut().unwrap().reverse();
    let files = vec![(String::new(), value.to_string().into_bytes())];
    assert!(same_verdict(geojson, &files).is_ok());
    assert!(!is_read_run_by_run(geojson, &files));

    // JSON: runs before everything else.
    let json = format("json");
    let value = serde_json::to_value(&document).unwrap();
    let (runs, mut head) = (value["runs"].to_string(), value);
    head.as_object_mut().unwrap().remove("runs");
    let text = format!("{{\"runs\": {runs}, {}", &head.to_string()[1..]);
    let files = vec![(String::new(), text.into_bytes())];
    assert_eq!(same_verdict(json, &files), Ok(common::canonical(&document)));
    assert!(is_read_run_by_run(json, &files));
}

/// A reader that fails like one whose file turns out to be invalid.
struct Failing(DocumentRuns<'static>);

impl obvert_model::read::RunReader for Failing {
    type Error = ConvertError;
    fn head(&self) -> &obvert_model::tables::Head {
        self.0.head()
    }
    fn next_run(&mut self) -> Result<Option<obvert_model::tables::Run>, ConvertError> {
        match self.0.next_run()? {
            Some(run) if run.id.as_str() != "R2" => Ok(Some(run)),
            _ => Err(ConvertError::Invalid { place: None, message: "spoilt".to_owned() }),
        }
    }
}

#[test]
fn a_read_error_stops_every_writer() {
    let document: &'static Document = Box::leak(Box::new(with_runs(4)));
    for format in Formats::built_in().iter().filter(|format| format.is_written()) {
        let mut survey = Failing(DocumentRuns::new(document));
        let mut folder = MemoryFolder::default();
        let output = match format.folder() {
            Some(_) => Output::Folder(&mut folder),
            None => Output::Stream(&mut std::io::sink()),
        };
        let error = format.write(&mut survey, output).unwrap_err().to_string();
        assert_eq!(error, "not a valid obvert document: spoilt", "{format}");
    }
}

proptest! {
    #![proptest_config(common::cases(24))]

    #[test]
    fn any_document_round_trips_run_by_run(document in common::documents()) {
        for format in formats() {
            let Some(files) = written(format, &document) else { continue };
            prop_assert_eq!(run_by_run(format, &files), Ok(common::canonical(&document)), "{}", format);
        }
    }

    /// Reading a damaged text run by run and as a whole gives the same verdict.
    #[test]
    fn any_damaged_text_gets_the_same_verdict(
        number in 0_usize..4,
        name in prop::sample::select(vec!["json", "csv", "xml", "geojson"]),
        file in any::<prop::sample::Index>(),
        at in any::<prop::sample::Index>(),
        cut in 0_usize..40,
        put in prop::sample::select(vec!["", "0", "\"", ",", "\n", "<", "{", "}", "[", "null,", "<id>R1</id>", "R1", "1e9", "é"]),
    ) {
        let format = format(name);
        let mut files = written(format, &with_runs(number)).unwrap();
        let chosen = file.index(files.len());
        let (_, bytes) = &mut files[chosen];
        let start = at.index(bytes.len() + 1);
        let end = (start + cut).min(bytes.len());
        bytes.splice(start..end, put.bytes());
        let _ = same_verdict(format, &files);
    }
}
