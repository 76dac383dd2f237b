//! Geometries that are not where their row says: nothing is dropped silently, and adopted positions
//! are transformed back to the document's reference system.

use obvert_convert::geojson::{self, Moved};
use obvert_model::tables::Document;
use serde_json::{Value, json};

use super::{collection, common, feature_mut, roundtrip, street, utm};

fn inspected() -> Document {
    street(json!([
        { "id": "R", "pipe": "P", "direction": "downstream", "surveyed": 50, "observations": [
            { "id": "1", "at": 10, "code": "x" }, { "id": "2", "at": 20, "to": 30, "continuous": true, "code": "x" }
        ] },
        { "id": "S", "pipe": "L", "direction": "upstream", "observations": [{ "id": "1", "at": 4, "code": "x" }] }
    ]))
}

fn read(value: &Value, moved: Moved) -> Result<Document, String> {
    let text = serde_json::to_string_pretty(value).unwrap();
    geojson::read_with(text.as_bytes(), "survey.geojson", moved)
        .map(|survey| survey.document)
        .map_err(|e| e.to_string())
}

/// The geographic coordinates of a position in the document.
fn geographic(x: f64, y: f64) -> Value {
    let lonlat = obvert_geo::Crs::parse("EPSG:32617").unwrap().to_wgs84([x, y]).unwrap();
    json!(lonlat.map(|degrees| (degrees * 1e9).round() / 1e9))
}

#[track_caller]
fn assert_position(document: &Document, index: usize, x: f64, y: f64) {
    let found = document.head.structures[index].position.unwrap();
    // Nine decimals of a degree hold a tenth of a millimetre.
    assert!(
        (found.x() - x).abs() <= 2e-4 && (found.y() - y).abs() <= 2e-4,
        "{found:?} is not {x}, {y}"
    );
}

#[test]
fn a_moved_structure_is_refused_kept_or_adopted() {
    let document = inspected();
    let mut value = collection(&document);
    let before = serde_json::to_string_pretty(&value).unwrap();
    feature_mut(&mut value, "structures", "B")["geometry"]["coordinates"] =
        geographic(500_100.0, 3_999_995.0);

    let refused = read(&value, Moved::Refuse).unwrap_err();
    // The location of B's geometry in that text: the fourth from the beginning, after A's and B's
    // own properties.
    let line = 1 + before.lines().position(|line| line.contains("\"B\"")).unwrap();
    assert!(refused.starts_with("survey.geojson:"), "{refused}");
    let reported: usize = refused.split(':').nth(1).unwrap().parse().unwrap();
    assert!(
        (line.saturating_sub(12)..line + 12).contains(&reported),
        "{refused}: B is near line {line}"
    );
    assert!(refused.contains("the geometry of structure \"B\" is 5.0"), "{refused}");
    let advice = "; if the properties are right, set the geometry to null; if the geometry of \
                  structure \"B\" is right, change the property \"position\" to [500100, 3999995], and set the geometries of the pipes, runs \
                  and observations there to null";
    assert!(refused.ends_with(advice), "{refused}");
    // Both suggestions work.
    let mut kept = value.clone();
    feature_mut(&mut kept, "structures", "B")["geometry"] = Value::Null;
    common::assert_same(&document, &read(&kept, Moved::Refuse).unwrap());
    let mut moved = value.clone();
    feature_mut(&mut moved, "structures", "B")["properties"]["position"] =
        json!([500_100, 3_999_995]);
    for feature in moved["features"].as_array_mut().unwrap() {
        if ["pipes", "runs", "observations"]
            .contains(&feature["properties"]["table"].as_str().unwrap())
        {
            feature["geometry"] = Value::Null;
        }
    }
    assert_position(&read(&moved, Moved::Refuse).unwrap(), 1, 500_100.0, 3_999_995.0);

    common::assert_same(&document, &read(&value, Moved::KeepProperties).unwrap());

    let taken = read(&value, Moved::TakeGeometry).unwrap();
    assert_position(&taken, 1, 500_100.0, 3_999_995.0);
    assert_eq!(taken.head.structures[0].position, document.head.structures[0].position);
    // The straight pipe and everything in it move along, although their geometries did not.
    assert!(taken.head.pipes[0].path.is_empty());
    let again = collection(&taken);
    let pipe = &super::feature(&again, "pipes", "P")["geometry"]["coordinates"][1];
    assert_eq!(*pipe, super::feature(&again, "structures", "B")["geometry"]["coordinates"]);
}

#[test]
fn a_structure_moved_together_with_its_pipe_makes_no_path() {
    let mut value = collection(&inspected());
    let place = geographic(500_100.0, 3_999_995.0);
    feature_mut(&mut value, "structures", "B")["geometry"]["coordinates"] = place.clone();
    feature_mut(&mut value, "pipes", "P")["geometry"]["coordinates"][1] = place;
    let refused = read(&value, Moved::Refuse).unwrap_err();
    assert!(refused.contains("the same applies to pipe \"P\""), "{refused}");
    let taken = read(&value, Moved::TakeGeometry).unwrap();
    assert_position(&taken, 1, 500_100.0, 3_999_995.0);
    assert!(taken.head.pipes[0].path.is_empty());
}

#[test]
fn a_bend_put_into_a_straight_pipe_becomes_its_path() {
    let document = inspected();
    let mut value = collection(&document);
    let line =
        feature_mut(&mut value, "pipes", "P")["geometry"]["coordinates"].as_array_mut().unwrap();
    line.insert(1, geographic(500_050.0, 3_999_990.0));
    let refused = read(&value, Moved::Refuse).unwrap_err();
    assert!(
        refused.contains("pipe \"P\" differs from its straight line between its ends"),
        "{refused}"
    );
    let advice = "if the geometry of pipe \"P\" is right, write its vertices into the property \"path\", in EPSG:32617, and set the \
                  geometries of its runs and observations to null";
    assert!(refused.ends_with(advice), "{refused}");
    let taken = read(&value, Moved::TakeGeometry).unwrap();
    let path = &taken.head.pipes[0].path;
    // The two ends equal the recorded positions of the manholes to the last bit.
    assert_eq!(
        [path[0].x(), path[0].y(), path[2].x(), path[2].y()],
        [500_000.0, 4_000_000.0, 500_100.0, 4_000_000.0]
    );
    assert!(
        (path[1].x() - 500_050.0).abs() < 2e-4 && (path[1].y() - 3_999_990.0).abs() < 2e-4,
        "{path:?}"
    );
}

#[test]
fn unmoved_vertices_of_a_path_keep_their_numbers() {
    let odd = [
        [500_000.000_03, 4_000_000.1],
        [500_010.123_456_7, 4_000_001.0],
        [500_020.3, 4_000_002.000_000_7],
    ];
    let document =
        utm(json!({ "pipes": [{ "id": "P", "upstream": "A", "downstream": "B", "path": odd }] }));
    let mut value = collection(&document);
    feature_mut(&mut value, "pipes", "P")["geometry"]["coordinates"][1] =
        geographic(500_010.0, 4_000_008.0);
    roundtrip::round(&mut feature_mut(&mut value, "pipes", "P")["geometry"], 1e7);
    let taken = read(&value, Moved::TakeGeometry).unwrap();
    let path: Vec<[f64; 2]> = taken.head.pipes[0].path.iter().map(|p| [p.x(), p.y()]).collect();
    assert_eq!([path[0], path[2]], [odd[0], odd[2]]);
    // Rounded to seven decimals, 11 mm.
    assert!(
        (path[1][0] - 500_010.0).abs() < 0.006 && (path[1][1] - 4_000_008.0).abs() < 0.006,
        "{path:?}"
    );
}

#[test]
fn a_newly_drawn_structure_gets_a_position_without_asking() {
    let mut document = inspected();
    document.head.structures[1].position = None;
    let mut value = collection(&document);
    let features = value["features"].as_array_mut().unwrap();
    features.push(json!({ "type": "Feature",
        "properties": { "table": "structures", "id": "NEW", "kind": "junction" },
        "geometry": { "type": "MultiPoint", "coordinates": [geographic(500_200.0, 4_000_300.0)] } }));
    feature_mut(&mut value, "structures", "B")["geometry"] =
        json!({ "type": "Point", "coordinates": geographic(500_100.0, 4_000_000.0) });
    let read = read(&value, Moved::Refuse).unwrap();
    assert_position(&read, 1, 500_100.0, 4_000_000.0);
    assert_position(&read, 3, 500_200.0, 4_000_300.0);
}

#[test]
fn a_path_drawn_for_a_pipe_without_one_is_adopted() {
    let document = utm(json!({
        "structures": [{ "id": "A", "kind": "manhole", "position": [500_000, 4_000_000] }, { "id": "B", "kind": "manhole" }],
        "pipes": [{ "id": "P", "upstream": "A", "downstream": "B" }]
    }));
    let mut value = collection(&document);
    feature_mut(&mut value, "pipes", "P")["geometry"] = json!({ "type": "LineString",
        "coordinates": [geographic(500_000.0, 4_000_000.0), geographic(500_030.0, 4_000_040.0)] });
    let path = read(&value, Moved::Refuse).unwrap().head.pipes[0].path.clone();
    assert!(
        (path[1].x() - 500_030.0).abs() < 2e-4 && (path[1].y() - 4_000_040.0).abs() < 2e-4,
        "{path:?}"
    );
}

#[test]
fn an_observation_moved_by_itself_is_an_error_unless_the_properties_are_kept() {
    let document = inspected();
    let mut value = collection(&document);
    feature_mut(&mut value, "observations", "1")["geometry"]["coordinates"] =
        geographic(500_030.0, 4_000_000.0);
    for moved in [Moved::Refuse, Moved::TakeGeometry] {
        let refused = read(&value, moved).unwrap_err();
        assert!(
            // The distance in a message is approximate: it is computed on a sphere.
            refused.contains("the geometry of observation \"1\" of run \"R\" is 9.9")
                && refused.ends_with(
                    "; correct the distance, which determines the geometry, or set the geometry to null"
                ),
            "{refused}"
        );
    }
    common::assert_same(&document, &read(&value, Moved::KeepProperties).unwrap());

    feature_mut(&mut value, "observations", "1")["geometry"] = Value::Null;
    common::assert_same(&document, &read(&value, Moved::Refuse).unwrap());
}

#[test]
fn an_edited_distance_needs_a_decision_too() {
    let mut value = collection(&inspected());
    feature_mut(&mut value, "observations", "1")["properties"]["at"] = json!(12.5);
    assert!(read(&value, Moved::Refuse).is_err());
    let kept = read(&value, Moved::KeepProperties).unwrap();
    assert_eq!(kept.runs[0].observations[0].at.get(), 12.5);
}

#[test]
fn rounding_to_seven_decimals_is_not_a_move_and_to_six_is_one() {
    let document = inspected();
    let mut value = collection(&document);
    roundtrip::round(&mut value["features"], 1e7);
    // All other properties have few digits.
    common::assert_same(&document, &read(&value, Moved::Refuse).unwrap());
    for feature in value["features"].as_array_mut().unwrap() {
        roundtrip::round(&mut feature["geometry"], 1e5);
    }
    let refused = read(&value, Moved::Refuse).unwrap_err();
    assert!(refused.contains(" and ") && refused.contains(" more;"), "{refused}");
}

#[test]
fn moves_that_cannot_be_adopted_are_refused() {
    let document = inspected();
    let cases: &[(&str, &str, Value, &str)] = &[
        (
            "structures",
            "A",
            json!({ "type": "LineString", "coordinates": [[-81, 36], [-81, 36.1]] }),
            "draw its geometry as a point",
        ),
        (
            "pipes",
            "P",
            json!({ "type": "Point", "coordinates": [-81, 36] }),
            "draw its geometry as a line",
        ),
        (
            "pipes",
            "P",
            json!({ "type": "MultiLineString", "coordinates": [[[-81, 36], [-81, 36.1]], [[-81, 36.2], [-81, 36.3]]] }),
            "several parts",
        ),
    ];
    for (table, id, geometry, message) in cases {
        let mut value = collection(&document);
        feature_mut(&mut value, table, id)["geometry"] = geometry.clone();
        let refused = read(&value, Moved::TakeGeometry).unwrap_err();
        assert!(refused.contains(message) && refused.starts_with("survey.geojson:"), "{refused}");
    }
}

#[test]
fn a_first_position_needs_a_reference_system() {
    let mut value = common::minimal();
    value["structures"] = json!([{ "id": "A", "kind": "manhole" }]);
    let mut value = collection(&common::document_of(value));
    feature_mut(&mut value, "structures", "A")["geometry"] =
        json!({ "type": "Point", "coordinates": [-81.5, 36.25] });
    let refused = read(&value, Moved::Refuse).unwrap_err();
    assert!(refused.contains("add \"crs\": \"OGC:CRS84\""), "{refused}");
    value["survey"]["crs"] = json!("OGC:CRS84");
    let read = read(&value, Moved::Refuse).unwrap();
    assert_eq!(read.head.structures[0].position.map(|p| [p.x(), p.y()]), Some([-81.5, 36.25]));
}

#[test]
fn a_pipe_across_the_antimeridian_can_be_moved() {
    let mut value = common::minimal();
    value["crs"] = json!("OGC:CRS84");
    value["pipes"] = json!([{ "id": "P", "upstream": "A", "downstream": "B", "path": [[179.999, -17], [-179.999, -17]] }]);
    let mut value = collection(&common::document_of(value));
    let parts = &mut feature_mut(&mut value, "pipes", "P")["geometry"]["coordinates"];
    assert_eq!(
        *parts,
        json!([[[179.999, -17.0], [180.0, -17.0]], [[-180.0, -17.0], [-179.999, -17.0]]])
    );
    parts[1][1] = json!([-179.998, -17]);
    let path = read(&value, Moved::TakeGeometry).unwrap().head.pipes[0].path.clone();
    assert_eq!(
        path.iter().map(|p| [p.x(), p.y()]).collect::<Vec<_>>(),
        [[179.999, -17.0], [-179.998, -17.0]]
    );
}
