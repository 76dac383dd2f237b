//! Every document that can be put on the map round-trips byte for byte.

use obvert_convert::geojson;
use obvert_model::number::Position;
use obvert_model::tables::Document;
use proptest::prelude::*;
use serde_json::{Value, json};

use super::{collection, common, read, street, write};

/// The test area: near the origin of the valid area of each system, in metres, in both kinds of
/// feet, and geographic.
const SYSTEMS: &[(&str, [f64; 2], f64)] = &[
    ("EPSG:32617", [500_000.0, 4_000_000.0], 2_000.0),
    ("EPSG:6595", [11_482_900.0, 3_647_000.0], 9_000.0),
    ("EPSG:2222", [700_000.0, 1_000_000.0], 9_000.0),
    ("EPSG:27700", [577_000.0, 69_000.0], 2_000.0),
    ("EPSG:4326", [-78.5, 37.3], 0.02),
    ("OGC:CRS84", [179.999, -17.0], 0.02),
    ("EPSG:32760", [819_000.0, 8_117_000.0], 2_000.0),
];

/// The document with its positions moved into the area of the reference system with this number.
fn relocated(mut document: Document, system: usize) -> Document {
    let (crs, [x0, y0], size) = SYSTEMS[system % SYSTEMS.len()];
    document.head.crs = Some(crs.parse().unwrap());
    let settle = |p: &mut Position| {
        // Any number is scaled to between −1 and 1, which keeps its unusual digits.
        let small = |v: f64| (v % 1000.0) / 1000.0;
        let x = x0 + size * small(p.x());
        let round = if crs == "OGC:CRS84" && x > 180.0 { 360.0 } else { 0.0 };
        *p = Position::new(x - round, y0 + size * small(p.y())).unwrap();
    };
    document.head.structures.iter_mut().filter_map(|row| row.position.as_mut()).for_each(settle);
    document.head.pipes.iter_mut().flat_map(|row| &mut row.path).for_each(settle);
    document.head.locates.iter_mut().filter_map(|row| row.position.as_mut()).for_each(settle);
    document
}

/// The document, with a reference system if it needs one.
pub(crate) fn placeable(document: Document) -> Document {
    relocated(document, 0)
}

/// Arbitrary documents whose references resolve and whose positions are in the area of a reference
/// system.
pub(crate) fn placed_documents() -> BoxedStrategy<Document> {
    (common::documents(), 0..SYSTEMS.len(), any::<u64>())
        .prop_map(|(mut document, system, mut seed)| {
            let mut next = |below: usize| {
                seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                usize::try_from(seed >> 33).unwrap() % below.max(1)
            };
            let head = &mut document.head;
            let structures: Vec<_> = head.structures.iter().map(|row| row.id.clone()).collect();
            let pipes: Vec<_> = head.pipes.iter().map(|row| row.id.clone()).collect();
            for pipe in &mut head.pipes {
                if !structures.is_empty() {
                    pipe.upstream = structures[next(structures.len())].clone();
                    if let Some(downstream) = &mut pipe.downstream {
                        *downstream = structures[next(structures.len())].clone();
                    }
                }
                if let Some(joins) = &mut pipe.joins {
                    joins.pipe = pipes[next(pipes.len())].clone();
                }
            }
            for run in &mut document.runs {
                if !pipes.is_empty() && next(8) > 0 {
                    run.pipe = pipes[next(pipes.len())].clone();
                    if let Some(launched) = &mut run.launched {
                        launched.pipe = pipes[next(pipes.len())].clone();
                    }
                }
            }
            relocated(document, system)
        })
        .boxed()
}

proptest! {
    #![proptest_config(common::cases(160))]

    #[test]
    fn every_document_on_the_map_round_trips(document in placed_documents()) {
        let (text, _) = write(&document);
        let again = read(&text);
        common::assert_same(&document, &again);
        prop_assert_eq!(write(&again).0, text);
    }

    /// Unmodified documents, mostly with an unknown reference system. Such a document round-trips
    /// or is refused before any byte is written.
    #[test]
    fn any_document_round_trips_or_is_refused(document in common::documents()) {
        let mut bytes = Vec::new();
        match geojson::write(&document, &mut bytes) {
            Ok(_) => common::assert_same(&document, &read(std::str::from_utf8(&bytes).unwrap())),
            Err(obvert_convert::ConvertError::Refused { message }) => {
                prop_assert!(bytes.is_empty());
                prop_assert!(message.contains("WGS 84") || message.contains("crs"), "{}", message);
            }
            Err(other) => panic!("{other}"),
        }
    }

    #[test]
    fn a_document_without_positions_always_round_trips(mut document in common::documents()) {
        for row in &mut document.head.structures { row.position = None; }
        for row in &mut document.head.pipes { row.path.clear(); }
        for row in &mut document.head.locates { row.position = None; }
        common::assert_same(&document, &read(&write(&document).0));
    }

    /// Map programs change a file on saving: they reformat it, drop or add null members, sort
    /// features, and round coordinates to seven decimals.
    #[test]
    fn a_file_saved_by_another_program_round_trips(document in placed_documents(), pretty in any::<bool>()) {
        let mut value = collection(&document);
        let features = value["features"].as_array_mut().unwrap();
        for feature in features.iter_mut() {
            round(&mut feature["geometry"], 1e7);
            let properties = feature["properties"].as_object_mut().unwrap();
            for key in ["clock", "kind", "quantities", "characterisation", "direction"] {
                properties.entry(key).or_insert(Value::Null);
            }
            properties.remove("id");
        }
        // Observations first; the order within a table stays.
        features.sort_by_key(|feature| feature["properties"]["table"].as_str().unwrap().len() != "observations".len());
        value["name"] = json!("survey");
        value["crs"] = json!({ "type": "name", "properties": { "name": "urn:ogc:def:crs:OGC:1.3:CRS84" } });
        let text = if pretty { serde_json::to_string_pretty(&value) } else { serde_json::to_string(&value) }.unwrap();
        common::assert_same(&document, &read(&text));
    }
}

pub(crate) fn round(value: &mut Value, scale: f64) {
    match value {
        Value::Array(items) => items.iter_mut().for_each(|item| round(item, scale)),
        Value::Object(entries) => entries.values_mut().for_each(|item| round(item, scale)),
        Value::Number(number) => {
            let degrees = number.as_f64().unwrap();
            *value = json!((degrees * scale).round() / scale);
        }
        _ => {}
    }
}

#[test]
fn difficult_documents_round_trip() {
    for (name, document) in common::difficult() {
        let document = placeable(document);
        println!("{name}");
        common::assert_same(&document, &read(&write(&document).0));
    }
}

#[test]
fn every_field_round_trips() {
    for nth in 0..24 {
        let document = relocated(common::document_of(common::full(nth)), nth);
        let (text, _) = write(&document);
        common::assert_same(&document, &read(&text));
    }
}

#[test]
fn nested_properties_may_be_json_in_a_text() {
    let document = relocated(common::document_of(common::full(3)), 0);
    let mut value = collection(&document);
    for feature in value["features"].as_array_mut().unwrap() {
        for property in feature["properties"].as_object_mut().unwrap().values_mut() {
            if property.is_object() || property.is_array() {
                *property = json!(property.to_string());
            }
        }
    }
    common::assert_same(&document, &read(&value.to_string()));
}

#[test]
fn streamed_runs_give_the_same_bytes() {
    let document = street(json!([
        { "id": "R", "pipe": "P", "direction": "downstream", "observations": [{ "id": "1", "at": 1, "code": "x" }] },
        { "id": "S", "pipe": "L", "direction": "upstream", "observations": [{ "id": "1", "at": 60, "code": "x" }] }
    ]));
    let source = obvert_model::write::to_string(&document).unwrap();
    let mut bytes = Vec::new();
    let mut json = obvert_convert::json::FORMAT
        .source(obvert_convert::Input::file("x", source.as_bytes()))
        .unwrap();
    let mut reader = json.read(obvert_convert::Locations::Skipped).unwrap();
    let report = geojson::write_runs(&mut *reader, &mut bytes);
    drop(reader);
    let (text, whole) = write(&document);
    assert_eq!(report.unwrap(), whole);
    assert_eq!(String::from_utf8(bytes).unwrap(), text);
}

#[test]
fn a_byte_order_mark_is_tolerated() {
    let document = street(json!([]));
    let text = format!("\u{feff}{}", write(&document).0);
    common::assert_same(&document, &read(&text));
}

/// The time must be proportional to the size of the file in any layout. It is measured at two
/// sizes, so the speed of the machine does not matter.
#[test]
fn reading_is_not_quadratic() {
    let text = |observations: usize| {
        let rows: Vec<Value> = (0..observations)
            .map(|n| json!({ "id": n.to_string(), "at": 1, "code": "x" }))
            .collect();
        let document = street(
            json!([{ "id": "R", "pipe": "P", "direction": "downstream", "observations": rows }]),
        );
        // All on one line, where counting columns from its start for each feature would be
        // quadratic.
        collection(&document).to_string()
    };
    let seconds = |text: &str| {
        let begin = std::time::Instant::now();
        geojson::read(text.as_bytes(), "x.geojson").unwrap();
        begin.elapsed().as_secs_f64()
    };
    let (small, large) = (text(2_000), text(32_000));
    seconds(&small);
    let factor = seconds(&large) / seconds(&small);
    assert!(factor < 80.0, "16 times the features took {factor} times as long");
}
