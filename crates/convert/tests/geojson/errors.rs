//! GeoJSON files that do not hold a survey are refused with the location and a suggestion, and no
//! file makes the reader panic.

use obvert_convert::{ConvertError, geojson};
use proptest::prelude::*;
use serde_json::{Value, json};

use super::{collection, common, feature_mut, street, utm, write};

fn refusal(bytes: &[u8]) -> String {
    match geojson::read(bytes, "survey.geojson") {
        Ok(survey) => panic!("was read: {survey:?}"),
        Err(ConvertError::Structure(problems)) => {
            problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
        }
        Err(error) => error.to_string(),
    }
}

fn small() -> Value {
    collection(&street(json!([{ "id": "R", "pipe": "P", "direction": "downstream",
        "observations": [{ "id": "1", "at": 1, "code": "x" }] }])))
}

#[test]
fn files_without_a_survey_in_geojson() {
    let utf16: Vec<u8> =
        [0xFF, 0xFE].into_iter().chain("{}".encode_utf16().flat_map(u16::to_le_bytes)).collect();
    let deep = format!(
        "{{\"type\":\"FeatureCollection\",\"survey\":{}{}",
        "[".repeat(100_000),
        "]".repeat(100_000) + "}"
    );
    let cases: &[(&[u8], &str)] = &[
        (b"", "survey.geojson:1: the file is empty"),
        (b" \n\t ", "the file is empty"),
        (b"\xEF\xBB\xBF", "the file is empty"),
        (&utf16, "starts like UTF-16"),
        (
            b"{\n\"type\": \"M\xFCllgasse\"}",
            "survey.geojson:2: not UTF-8 text (looks like an older single-byte encoding)",
        ),
        (b"PK\x03\x04abc", "starts like a zip archive"),
        (b"\x1F\x8Babc", "starts like a gzip archive"),
        (b"\0\0\0\x01", "looks binary"),
        (b"hello", "survey.geojson:1:1: not JSON"),
        (b"{\"type\": \"FeatureCollection\", ", "not JSON"),
        (b"[]", "expected a GeoJSON feature collection"),
        (b"[\"FeatureCollection\", {}, null, []]", "expected a GeoJSON feature collection"),
        (b"7", "expected a GeoJSON feature collection"),
        (b"{}", "expected a GeoJSON feature collection"),
        (b"{\"type\": 5}", "survey.geojson:1:10: invalid type"),
        (b"{\"type\": \"Feature\", \"geometry\": null}", "found the type \"Feature\""),
        (b"{\"type\": \"FeatureCollection\", \"type\": \"FeatureCollection\"}", "duplicate field `type`"),
        (b"{\"type\": \"FeatureCollection\", \"features\": []}", "has no member \"survey\""),
        (b"{\"type\": \"FeatureCollection\", \"survey\": []}", "the member \"survey\" must be an object"),
        (b"{\"type\": \"FeatureCollection\", \"survey\": {}}", "has no member \"features\""),
        (b"{\"type\": \"FeatureCollection\", \"survey\": {}, \"features\": {}}", "expected a sequence"),
        (
            b"{\"type\": \"FeatureCollection\", \"survey\": {\"runs\": []}, \"features\": []}",
            "move its rows to the features",
        ),
        (
            b"{\"type\": \"FeatureCollection\", \"survey\": {\"id\": 1, \"id\": 2}, \"features\": []}",
            "duplicate key \"id\"",
        ),
        (b"{\"obvert\": \"0.2\", \"id\": \"x\"}", "this is an obvert document, not GeoJSON"),
        (deep.as_bytes(), "recursion limit exceeded"),
    ];
    for (bytes, message) in cases {
        let found = refusal(bytes);
        assert!(
            found.starts_with("survey.geojson:") && found.contains(message),
            "{found:?} does not say {message:?}"
        );
    }
}

/// Each case changes the feature of the single observation or of structure A.
#[test]
fn features_that_are_not_rows() {
    let cases: &[(&str, &str, Value, &str)] = &[
        (
            "observations",
            "/properties/table",
            json!("manholes"),
            "there is no table \"manholes\"; a property \"table\" must name",
        ),
        ("observations", "/properties/table", json!(7), "there is no table 7"),
        ("observations", "/properties/table", Value::Null, "the feature has no table"),
        ("observations", "/properties/run", Value::Null, "an observation needs a property \"run\""),
        ("observations", "/properties/run", json!("r"), "belongs to the run \"r\", and no feature"),
        ("observations", "/properties/att", json!(1), "did you mean \"at\"?"),
        (
            "observations",
            "/properties/at",
            json!("1"),
            "/runs/0/observations/0/at: expected a number",
        ),
        ("observations", "/properties/at", Value::Null, "the key \"at\" is missing"),
        ("observations", "/properties/at", json!(1e300), "/runs/0/observations/0/at"),
        (
            "observations",
            "/id",
            json!("2"),
            "the feature's id is \"2\", but its property \"id\" is \"1\"",
        ),
        ("observations", "/type", json!("feature"), "expected a GeoJSON feature"),
        ("observations", "/properties", Value::Null, "the feature has no properties"),
        ("observations", "/properties", json!([]), "the member \"properties\" must be an object"),
        ("structures", "/properties/run", json!("R"), "\"run\""),
        ("structures", "/geometry/type", json!("Polygon"), "the geometry has the type \"Polygon\""),
        ("structures", "/geometry/type", json!("GeometryCollection"), "the geometry has the type"),
        (
            "structures",
            "/geometry/coordinates",
            json!([36, -181]),
            "is not a longitude and latitude",
        ),
        (
            "structures",
            "/geometry/coordinates",
            json!([1]),
            "a position is a list of longitude and latitude",
        ),
        (
            "structures",
            "/geometry/coordinates",
            json!(["1", "2"]),
            "a position is a list of longitude and latitude",
        ),
        ("structures", "/geometry/coordinates", json!([-81, 36, 12.5]), "has a height"),
        ("structures", "/geometry/coordinates", json!({}), "must be a list"),
        (
            "structures",
            "/geometry/coordinates",
            json!([1e300, 1e300]),
            "is not a longitude and latitude",
        ),
        ("structures", "/geometry", json!({ "type": "Point" }), "the geometry has no coordinates"),
        (
            "structures",
            "/geometry",
            json!({ "type": "LineString", "coordinates": [[1, 2]] }),
            "a position is a list",
        ),
        (
            "structures",
            "/geometry",
            json!({ "type": "MultiPoint", "coordinates": [[1, 2], [3, 4]] }),
            "expected one point, found 2",
        ),
        ("structures", "/geometry", json!(5), "a geometry must be an object"),
    ];
    for (table, pointer, change, message) in cases {
        let mut value = small();
        let id = if *table == "observations" { "1" } else { "A" };
        let (holder, key) = pointer.rsplit_once('/').unwrap();
        feature_mut(&mut value, table, id).pointer_mut(holder).unwrap()[key] = change.clone();
        let found = refusal(serde_json::to_string_pretty(&value).unwrap().as_bytes());
        let ok = found.contains(message)
            || (*message == "a position is a list" && found.contains("a line has two positions"));
        assert!(
            found.starts_with("survey.geojson:") && ok,
            "{pointer} {change}: {found:?} does not say {message:?}"
        );
    }
}

#[test]
fn empty_coordinates_and_a_height_of_zero_are_accepted() {
    let document = street(json!([]));
    let mut value = collection(&document);
    feature_mut(&mut value, "structures", "A")["geometry"]["coordinates"]
        .as_array_mut()
        .unwrap()
        .push(json!(0));
    feature_mut(&mut value, "structures", "B")["geometry"]["coordinates"] = json!([]);
    common::assert_same(&document, &super::read(&value.to_string()));
}

#[test]
fn other_reference_systems_are_refused() {
    let mut value = small();
    value["crs"] =
        json!({ "type": "name", "properties": { "name": "urn:ogc:def:crs:EPSG::32617" } });
    assert!(refusal(value.to_string().as_bytes()).contains("GeoJSON is on WGS 84"));
    value["crs"] = json!(null);
    assert!(geojson::read(value.to_string().as_bytes(), "x").is_ok());
}

#[test]
fn duplicate_rows_and_runs_with_nested_observations() {
    let mut value = small();
    let duplicate = feature_mut(&mut value, "structures", "A").clone();
    value["features"].as_array_mut().unwrap().push(duplicate);
    let found = refusal(value.to_string().as_bytes());
    assert!(found.contains("\"A\" is a duplicate"), "{found}");

    let mut value = small();
    feature_mut(&mut value, "runs", "R")["properties"]["observations"] = json!([]);
    assert!(refusal(value.to_string().as_bytes()).contains("must be features"));

    // A duplicate key in an object: JSON readers differ in which of the two they take.
    let text = write(&street(json!([])))
        .0
        .replace("\"kind\":\"cleanout\"", "\"kind\":\"cleanout\",\"kind\":\"manhole\"");
    let found = refusal(text.as_bytes());
    let (line, _) = text.lines().enumerate().find(|(_, line)| line.contains("cleanout")).unwrap();
    assert!(found.contains("duplicate key \"kind\""), "{found}");
    assert!(found.starts_with(&format!("survey.geojson:{}:", line + 1)), "{found}");
}

#[test]
fn problems_and_findings_are_located_at_the_property() {
    let (text, _) = write(&street(json!([{ "id": "R", "pipe": "P", "direction": "downstream",
        "observations": [{ "id": "1", "at": 1, "code": "x", "clock": { "at": 3 }, "remark": "\u{e9}" }] }])));
    let survey = geojson::read(text.as_bytes(), "survey.geojson").unwrap();
    for (pointer, marker) in [
        ("/structures/1/kind", "\"manhole\",\"position\":[500100"),
        ("/pipes/0/length", "50}"),
        ("/locates/0/position/1", "4000000.5"),
        ("/runs/0/direction", "\"downstream\"}"),
        ("/runs/0/observations/0/clock/at", "3}"),
        ("/units/length", "\"m\""),
    ] {
        let offset = text.find(marker).unwrap();
        let line = 1 + text[..offset].matches('\n').count();
        let column =
            1 + text[text[..offset].rfind('\n').map_or(0, |at| at + 1)..offset].chars().count();
        let place = survey.places.place(pointer).unwrap();
        assert_eq!((place.line, place.column), (line, Some(column)), "{pointer}");
    }
    // A missing value is located at its parent.
    let run = survey.places.place("/runs/0").unwrap();
    assert_eq!(survey.places.place("/runs/0/counter/zero"), Some(run));

    let wrong = text.replace("\"downstream\"}", "\"down\"}");
    let found = refusal(wrong.as_bytes());
    let line = 1 + wrong[..wrong.find("\"down\"").unwrap()].matches('\n').count();
    let column = 1 + wrong.lines().nth(line - 1).unwrap().find("\"down\"").unwrap();
    assert!(found.starts_with(&format!("survey.geojson:{line}:{column}: ")), "{found}");
}

#[test]
fn a_document_that_cannot_be_on_the_map_is_refused_by_name() {
    let structure = json!({ "structures": [{ "id": "A", "kind": "manhole", "position": [1, 2] }] });
    let cases: &[(Option<&str>, &[&str])] = &[
        (None, &["no `crs`", "add the reference system"]),
        (Some("EPSG:1"), &["EPSG:1 is not in the built-in registry"]),
        (Some("LOCAL:larkmoor"), &["does not name a reference system"]),
        // NAD27 in the United States: only a grid is accurate enough (the registry in the geo crate
        // says which).
        (Some("EPSG:4267"), &["EPSG:4267"]),
        (Some("EPSG:5703"), &["vertical reference system"]),
    ];
    for (crs, messages) in cases {
        let mut document = utm(structure.clone());
        document.head.crs = crs.map(|crs| crs.parse().unwrap());
        let mut bytes = Vec::new();
        let Err(ConvertError::Refused { message }) = geojson::write(&document, &mut bytes) else {
            panic!("{crs:?}")
        };
        assert!(messages.iter().all(|part| message.contains(part)), "{crs:?}: {message}");
        assert!(bytes.is_empty(), "{crs:?}");
    }
}

#[test]
fn a_sink_that_fails_is_reported() {
    struct Full;
    impl std::io::Write for Full {
        fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
            Err(std::io::ErrorKind::StorageFull.into())
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }
    assert!(matches!(geojson::write(&street(json!([])), Full), Err(ConvertError::Write(_))));
}

/// A file truncated anywhere is refused.
#[test]
fn a_truncated_file_is_refused_wherever_it_ends() {
    let text = write(&street(json!([]))).0;
    let text = text.trim_end();
    for end in 0..text.len() {
        assert!(geojson::read(&text.as_bytes()[..end], "x").is_err(), "cut at {end}");
    }
}

proptest! {
    #![proptest_config(common::cases(256))]

    #[test]
    fn any_bytes_give_an_answer(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = geojson::read(&bytes, "x");
    }

    /// A good file with one byte changed gives any answer except a panic.
    #[test]
    fn a_changed_byte_gives_an_answer(at in any::<prop::sample::Index>(), byte in any::<u8>()) {
        let mut bytes = write(&street(json!([{ "id": "R", "pipe": "P", "direction": "downstream" }]))).0.into_bytes();
        let at = at.index(bytes.len());
        bytes[at] = byte;
        let _ = geojson::read(&bytes, "x");
    }
}
