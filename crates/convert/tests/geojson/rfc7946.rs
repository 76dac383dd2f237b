//! Checks that the output is GeoJSON, clause by clause of RFC 7946.

use proptest::prelude::*;
use serde_json::{Map, Value, json};

use super::{collection, common, feature, roundtrip, street, write};

/// Fails unless a text is a GeoJSON feature collection. The bounding box `[west, south, east,
/// north]` is computed here from all positions.
#[track_caller]
pub(crate) fn assert_conforms(text: &str) {
    // §11.1, RFC 8259: UTF-8 without a byte-order mark.
    assert!(!text.starts_with('\u{feff}'));
    let value: Value = serde_json::from_str(text).unwrap();
    // §1.4, §3.3: an object whose type is FeatureCollection, with an array of features.
    let collection = value.as_object().unwrap();
    assert_eq!(collection["type"], "FeatureCollection");
    // §7.1: a feature collection must not have the members that define other types. §4: no `crs`.
    assert_without(collection, &["coordinates", "geometries", "geometry", "properties", "crs"]);
    let mut positions = Vec::new();
    for feature in collection["features"].as_array().unwrap() {
        // §3.2: type, geometry (an object or null), properties (an object or null), id (a string or
        // a number).
        let feature = feature.as_object().unwrap();
        assert_eq!(feature["type"], "Feature");
        assert!(feature["properties"].is_object());
        assert!(feature.get("id").is_none_or(|id| id.is_string() || id.is_number()));
        assert_without(feature, &["coordinates", "geometries", "features", "crs"]);
        match &feature["geometry"] {
            Value::Null => {}
            Value::Object(geometry) => positions.extend(geometry_positions(geometry)),
            other => panic!("not a geometry: {other}"),
        }
    }
    // §5: the box is the south-west and north-east corner, and contains every position.
    match collection.get("bbox") {
        None => assert!(positions.is_empty(), "positions but no bbox"),
        Some(bbox) => {
            let bbox: Vec<f64> =
                bbox.as_array().unwrap().iter().map(|n| n.as_f64().unwrap()).collect();
            let [west, south, east, north] = bbox[..] else { panic!("{bbox:?}") };
            let low = positions.iter().map(|p| p[1]).fold(f64::INFINITY, f64::min);
            let high = positions.iter().map(|p| p[1]).fold(f64::NEG_INFINITY, f64::max);
            assert_eq!([low, high], [south, north]);
            assert!([west, east].iter().all(|lon| lon.abs() <= 180.0), "{bbox:?}");
            assert!(
                west <= east || (west > 0.0 && east < 0.0),
                "{bbox:?} crosses what is not the antimeridian"
            );
            let outside: Vec<_> = positions
                .iter()
                .filter(|[lon, _]| {
                    // §5.2: if west is greater than east, the box crosses the antimeridian.
                    let inside = |lon: f64| {
                        if west <= east {
                            (west..=east).contains(&lon)
                        } else {
                            lon >= west || lon <= east
                        }
                    };
                    !(inside(*lon) || (lon.abs() == 180.0 && inside(-lon)))
                })
                .collect();
            assert!(outside.is_empty(), "outside {bbox:?}: {outside:?}");
            for edge in [west, east] {
                assert!(
                    positions
                        .iter()
                        .any(|[lon, _]| (lon - edge).abs() < 1e-9 || (lon - edge).abs() == 360.0),
                    "{bbox:?} is too wide"
                );
            }
        }
    }
}

fn assert_without(object: &Map<String, Value>, members: &[&str]) {
    for member in members {
        assert!(!object.contains_key(*member), "has {member}");
    }
}

fn geometry_positions(geometry: &Map<String, Value>) -> Vec<[f64; 2]> {
    assert_without(geometry, &["geometry", "properties", "features", "crs"]);
    let list = |value: &Value| value.as_array().unwrap().clone();
    let lines = match geometry["type"].as_str().unwrap() {
        "Point" => return vec![position(&geometry["coordinates"])],
        "LineString" => vec![geometry["coordinates"].clone()],
        "MultiLineString" => list(&geometry["coordinates"]),
        other => panic!("a geometry type that this format does not use: {other}"),
    };
    let mut all = Vec::new();
    for line in lines {
        let line: Vec<[f64; 2]> = list(&line).iter().map(position).collect();
        // §3.1.4: two or more positions.
        assert!(line.len() >= 2);
        assert!(line.iter().any(|position| *position != line[0]), "a line without extent");
        // §3.1.9: no part crosses the antimeridian.
        assert!(
            line.windows(2).all(|pair| (pair[0][0] - pair[1][0]).abs() <= 180.0),
            "crosses: {line:?}"
        );
        all.extend(line);
    }
    all
}

/// §3.1.1, §4: longitude and latitude in degrees, in that order, and no further elements.
fn position(value: &Value) -> [f64; 2] {
    let numbers: Vec<f64> = value.as_array().unwrap().iter().map(|n| n.as_f64().unwrap()).collect();
    let [lon, lat] = numbers[..] else { panic!("{numbers:?}") };
    assert!((-180.0..=180.0).contains(&lon) && (-90.0..=90.0).contains(&lat), "{numbers:?}");
    // §11.2: no more digits than the format promises, nine decimals.
    for number in value.as_array().unwrap() {
        let decimals = number.to_string().split_once('.').map_or(0, |(_, decimals)| decimals.len());
        assert!(decimals <= 9 || number.to_string().contains('e'), "{number}");
    }
    [lon, lat]
}

#[test]
fn handwritten_documents_conform() {
    assert_conforms(&write(&street(json!([]))).0);
    for (name, document) in common::difficult() {
        let document = roundtrip::placeable(document);
        println!("{name}");
        assert_conforms(&write(&document).0);
    }
}

proptest! {
    #![proptest_config(common::cases(64))]

    #[test]
    fn arbitrary_documents_conform(document in roundtrip::placed_documents()) {
        assert_conforms(&write(&document).0);
    }
}

#[test]
fn a_pipe_across_the_antimeridian_is_cut() {
    // Fiji 1986 / Fiji Map Grid (EPSG:3460) would need its own datum. UTM zone 60 south also
    // extends beyond the antimeridian. Its central meridian is 177° E, and 180° is about 333 km
    // east of it: 3° × 111.32 km × cos 17°.
    let mut value = common::minimal();
    value["units"]["length"] = json!("m");
    value["crs"] = json!("EPSG:32760");
    value["structures"] = json!([
        { "id": "W", "kind": "manhole", "position": [819_000, 8_117_000] },
        { "id": "E", "kind": "manhole", "position": [820_000, 8_117_000] }
    ]);
    value["pipes"] = json!([{ "id": "P", "upstream": "W", "downstream": "E" }]);
    value["runs"] = json!([{ "id": "R", "pipe": "P", "direction": "upstream", "observations": [
        { "id": "1", "at": 100, "to": 900, "continuous": true, "code": "x" }
    ] }]);
    let document = common::document_of(value);
    let (text, _) = write(&document);
    assert_conforms(&text);
    common::assert_same(&document, &super::read(&text));

    let collection = collection(&document);
    let coordinates = |table: &str, id: &str| feature(&collection, table, id)["geometry"].clone();
    let pipe = coordinates("pipes", "P");
    assert_eq!(pipe["type"], "MultiLineString");
    assert_eq!(pipe["coordinates"][0][1][0], json!(180.0));
    assert_eq!(pipe["coordinates"][1][0][0], json!(-180.0));
    assert_eq!(pipe["coordinates"][0][1][1], pipe["coordinates"][1][0][1]);
    let stretch = coordinates("observations", "1");
    assert_eq!(
        (stretch["coordinates"][0][1][0].clone(), stretch["coordinates"][1][0][0].clone()),
        (json!(-180.0), json!(180.0))
    );
    let bbox = collection["bbox"].as_array().unwrap();
    assert!(bbox[0].as_f64().unwrap() > 179.9 && bbox[2].as_f64().unwrap() < -179.9, "{bbox:?}");
}

#[test]
fn a_document_without_positions_has_no_geometry_and_no_box() {
    let mut value = common::minimal();
    // An unknown reference system does no harm if no position uses it.
    value["crs"] = json!("EPSG:1");
    value["structures"] = json!([{ "id": "A", "kind": "manhole" }]);
    let document = common::document_of(value);
    let (text, report) = write(&document);
    assert_conforms(&text);
    assert!(!text.contains("bbox"));
    assert_eq!(report.notes.len(), 1, "{report:?}");
    assert_eq!(feature(&collection(&document), "structures", "A")["geometry"], Value::Null);
    common::assert_same(&document, &super::read(&text));
}

#[test]
fn the_layout_is_one_feature_per_line() {
    let (text, _) = write(&street(json!([{ "id": "R", "pipe": "P", "direction": "downstream",
        "observations": [{ "id": "1", "at": 1, "code": "x" }] }])));
    let features: Vec<&str> =
        text.lines().filter(|line| line.starts_with("{\"type\":\"Feature\"")).collect();
    assert_eq!(features.len(), 8, "{text}");
    assert_eq!(
        features[7],
        "{\"type\":\"Feature\",\"id\":\"1\",\"properties\":{\"table\":\"observations\",\"run\":\"R\",\"id\":\"1\",\"at\":1,\
         \"code\":\"x\"},\"geometry\":{\"type\":\"Point\",\"coordinates\":[-80.999977769,36.144718099]}}"
    );
}

/// The keys added to a row must not be keys of the row.
#[test]
fn added_properties_are_not_keys_of_the_format() {
    use obvert_model::shape;
    for name in ["Structure", "Pipe", "Locate", "Run", "Observation"] {
        let shape = shape::object(name);
        assert!(!shape.fields.is_empty(), "{name}");
        for added in ["table", "placed"] {
            assert!(shape.field(added).is_none(), "{name} has {added}");
        }
    }
    assert!(shape::object("Observation").field("run").is_none());
}
