//! The GeoJSON format: positions on the map, byte-for-byte round trips, conformance to RFC 7946,
//! moved geometries, and refused files.
#![cfg(feature = "geojson")]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "../common/mod.rs"]
mod common;

mod errors;
mod moved;
mod place;
mod rfc7946;
mod roundtrip;

use obvert_convert::{ConvertError, LossReport, geojson};
use obvert_model::tables::Document;
use serde_json::{Value, json};

fn write(document: &Document) -> (String, LossReport) {
    let mut bytes = Vec::new();
    let report = geojson::write(document, &mut bytes).unwrap();
    assert!(report.is_empty(), "a lossless form lost something: {report:?}");
    (String::from_utf8(bytes).unwrap(), report)
}

#[track_caller]
fn read(text: &str) -> Document {
    match geojson::read(text.as_bytes(), "survey.geojson") {
        Ok(survey) => survey.document,
        Err(ConvertError::Structure(problems)) => {
            let list: Vec<String> = problems.iter().map(ToString::to_string).collect();
            panic!("{}\n{text}", list.join("\n"));
        }
        Err(error) => panic!("{error}\n{text}"),
    }
}

/// The feature collection of a document, as a value.
fn collection(document: &Document) -> Value {
    serde_json::from_str(&write(document).0).unwrap()
}

/// The feature of a row.
#[track_caller]
fn feature<'c>(collection: &'c Value, table: &str, id: &str) -> &'c Value {
    let features = collection["features"].as_array().unwrap();
    let is = |feature: &&Value| {
        feature["properties"]["table"] == table && feature["properties"]["id"] == id
    };
    features.iter().find(is).unwrap_or_else(|| panic!("no {table} {id}"))
}

/// The feature of a row, to be changed.
#[track_caller]
fn feature_mut<'c>(collection: &'c mut Value, table: &str, id: &str) -> &'c mut Value {
    let features = collection["features"].as_array_mut().unwrap();
    let is = |feature: &&mut Value| {
        feature["properties"]["table"] == table && feature["properties"]["id"] == id
    };
    features.iter_mut().find(is).unwrap_or_else(|| panic!("no {table} {id}"))
}

/// A document on UTM zone 17 north in metres with the given `tables`.
fn utm(tables: Value) -> Document {
    let mut value = common::minimal();
    value["units"]["length"] = json!("m");
    value["units"]["section"] = json!("mm");
    value["crs"] = json!("EPSG:32617");
    for (key, table) in tables.as_object().unwrap() {
        value[key] = table.clone();
    }
    common::document_of(value)
}

/// Two manholes 100 m apart from west to east, a pipe between them with a stated length of 50 m,
/// and a lateral from the north that joins it 10 m (20 m on the map) from its upstream end.
fn street(runs: Value) -> Document {
    utm(json!({
        "structures": [
            { "id": "A", "kind": "manhole", "position": [500_000, 4_000_000] },
            { "id": "B", "kind": "manhole", "position": [500_100, 4_000_000] },
            { "id": "C", "kind": "cleanout", "position": [500_020, 4_000_010] }
        ],
        "pipes": [
            { "id": "P", "upstream": "A", "downstream": "B", "length": 50 },
            { "id": "L", "upstream": "C", "joins": { "pipe": "P", "at": 10 } }
        ],
        "locates": [{ "id": "T", "run": "R", "at": 7, "position": [500_014.25, 4_000_000.5] }],
        "runs": runs
    }))
}
