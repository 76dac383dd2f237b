//! GeoParquet: the columns and geometries of each layer, its metadata, and a loss report that
//! covers everything left out.
#![cfg(all(feature = "geoparquet", feature = "geojson"))]
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod common;

use common::{cases, document_of, documents, minimal};
use obvert_convert::{LossKind, geojson, geoparquet};
use obvert_model::tables::Document;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::{Field, Row};
use proptest::prelude::*;
use serde_json::{Value, json};

fn survey() -> Document {
    let mut value = minimal();
    value["crs"] = json!("EPSG:27700");
    value["units"] = json!({ "length": "m", "section": "mm" });
    value["parties"] = json!([{ "id": "p", "name": "Larkmoor Water Department", "role": "owner" }]);
    value["structures"] = json!([
        { "id": "A", "kind": "manhole", "position": [400_000, 300_000], "depth": 2 },
        { "id": "B", "kind": "manhole", "position": [400_100, 300_000] },
        { "id": "C", "kind": "cleanout" }
    ]);
    value["pipes"] = json!([{ "id": "P", "upstream": "A", "downstream": "B", "length": 100, "height": 300, "laid": 1962, "path": [[400_000, 300_000], [400_100, 300_000]] }]);
    value["runs"] = json!([
        { "id": "R", "pipe": "P", "direction": "upstream", "observations": [
            { "id": "1", "at": 10, "code": "crack.longitudinal", "joint": true, "grades": { "structural": 3 }, "characterisation": ["A", "B"],
              "quantities": [{ "value": 3, "unit": "mm" }, { "value": 5.5, "unit": "percent" }, { "value": 1, "unit": "count" }] },
            { "id": "2", "at": 20, "to": 50, "continuous": true, "code": "deposits.settled", "media": [{ "id": "m" }] }
        ] },
        { "id": "S", "pipe": "Z", "direction": "downstream", "observations": [{ "id": "1", "at": 0, "code": "run.start" }] }
    ]);
    document_of(value)
}

struct Read {
    rows: Vec<Row>,
    metadata: Vec<(String, Value)>,
}

fn read(files: &geoparquet::Files, name: &str) -> Read {
    let (_, bytes) = files.iter().find(|(file, _)| file == name).unwrap();
    let reader = SerializedFileReader::new(bytes::Bytes::from(bytes.clone())).unwrap();
    let about = reader.metadata().file_metadata().key_value_metadata().unwrap();
    let metadata = about.iter().map(|pair| {
        (pair.key.clone(), serde_json::from_str(pair.value.as_ref().unwrap()).unwrap())
    });
    let metadata = metadata.collect();
    Read { rows: reader.get_row_iter(None).unwrap().map(Result::unwrap).collect(), metadata }
}

fn field<'r>(row: &'r Row, name: &str) -> &'r Field {
    row.get_column_iter()
        .find(|(column, _)| *column == name)
        .unwrap_or_else(|| panic!("no column {name}"))
        .1
}

#[test]
fn columns_are_joined_and_typed() {
    let (files, _) = geoparquet::write(&survey()).unwrap();
    let names: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(
        names,
        ["structures.parquet", "pipes.parquet", "locates.parquet", "observations.parquet"]
    );
    assert_eq!(read(&files, "locates.parquet").rows.len(), 0);
    let observations = read(&files, "observations.parquet").rows;
    assert_eq!(observations.len(), 3);
    let text = |text: &str| Field::Str(text.to_owned());
    let expected = [
        ("document", text("urn:uuid:7d0f7c1e-58a6-4d5b-9df2-6b8f0c7f4a11")),
        ("units.length", text("m")),
        ("id", text("1")),
        ("at", Field::Double(10.0)),
        ("to", Field::Null),
        ("joint", Field::Bool(true)),
        ("grades.structural", Field::Long(3)),
        ("characterisation", text("A;B")),
        ("quantity1.value", Field::Double(3.0)),
        ("quantity2.value", Field::Double(5.5)),
        ("quantity2.unit", text("percent")),
        ("run.id", text("R")),
        ("run.direction", text("upstream")),
        ("pipe.id", text("P")),
        ("pipe.height", Field::Double(300.0)),
        ("pipe.laid", Field::Long(1962)),
    ];
    for (name, value) in expected {
        assert_eq!(field(&observations[0], name), &value, "{name}");
    }
    // The third belongs to a pipe that is not in the survey.
    assert_eq!(field(&observations[2], "run.id"), &text("S"));
    assert_eq!(
        (field(&observations[2], "pipe.id"), field(&observations[2], "geometry")),
        (&Field::Null, &Field::Null)
    );
    assert_eq!(
        field(&read(&files, "structures.parquet").rows[0], "position.x"),
        &Field::Double(400_000.0)
    );
}

/// The geometries are those of the GeoJSON format; the metadata follows GeoParquet 1.1 ("File
/// metadata", "Column metadata").
#[test]
fn geometries_and_metadata_are_those_of_the_standard() {
    let document = survey();
    let (files, _) = geoparquet::write(&document).unwrap();
    let mut out = Vec::new();
    geojson::write(&document, &mut out).unwrap();
    let map: Value = serde_json::from_slice(&out).unwrap();
    let mut compared = 0;
    for (layer, table) in [
        ("structures.parquet", "structures"),
        ("pipes.parquet", "pipes"),
        ("observations.parquet", "observations"),
    ] {
        let read = read(&files, layer);
        let features = map["features"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|feature| feature["properties"]["table"] == table);
        for (row, feature) in read.rows.iter().zip(features) {
            let expected = &feature["geometry"];
            match (field(row, "geometry"), expected["type"].as_str()) {
                (Field::Null, None) => {}
                (Field::Bytes(bytes), Some(kind)) => {
                    let numbers: Vec<f64> = match kind {
                        "Point" => vec![
                            expected["coordinates"][0].as_f64().unwrap(),
                            expected["coordinates"][1].as_f64().unwrap(),
                        ],
                        _ => expected["coordinates"]
                            .as_array()
                            .unwrap()
                            .iter()
                            .flat_map(|p| [p[0].as_f64().unwrap(), p[1].as_f64().unwrap()])
                            .collect(),
                    };
                    let head = if kind == "Point" { 5 } else { 9 };
                    let body: Vec<u8> =
                        numbers.iter().flat_map(|number| number.to_le_bytes()).collect();
                    assert_eq!(&bytes.data()[head..], body, "{layer}");
                    compared += 1;
                }
                (found, kind) => panic!("{layer}: {found} is not {kind:?}"),
            }
        }
        let geo = &read.metadata.iter().find(|(key, _)| key == "geo").unwrap().1;
        assert_eq!(
            (&geo["version"], &geo["primary_column"]),
            (&json!("1.1.0"), &json!("geometry"))
        );
        let column = &geo["columns"]["geometry"];
        assert_eq!(
            (&column["encoding"], &column["crs"]["id"]["code"]),
            (&json!("WKB"), &json!("CRS84"))
        );
        let types = match table {
            "structures" => json!(["Point"]),
            "pipes" => json!(["LineString"]),
            _ => json!(["LineString", "Point"]),
        };
        assert_eq!(column["geometry_types"], types);
        assert_eq!(column["bbox"].as_array().map(Vec::len), Some(4));
        let own = &read.metadata.iter().find(|(key, _)| key == "obvert").unwrap().1;
        assert_eq!(
            (&own["crs"], &own["coding"]["list"]),
            (&json!("EPSG:27700"), &json!("obvert-terms"))
        );
    }
    assert_eq!(compared, 5);
}

#[test]
fn omitted_values_are_reported() {
    let (_, report) = geoparquet::write(&survey()).unwrap();
    let losses: Vec<(LossKind, &str)> =
        report.losses.iter().map(|loss| (loss.kind, loss.pointer.as_str())).collect();
    let expected = [
        (LossKind::Changed, "/crs"),
        (LossKind::Dropped, "/parties"),
        (LossKind::Changed, "/pipes/0/path"),
        (LossKind::Dropped, "/runs/0/observations/0/quantities/2"),
        (LossKind::Dropped, "/runs/0/observations/1/media"),
    ];
    assert_eq!(losses, expected);
}

/// The rows are still there, with their positions as recorded.
#[test]
fn positions_that_cannot_be_transformed_are_reported() {
    let mut value = serde_json::to_value(survey()).unwrap();
    value["structures"][1]["position"] = json!([1e12, 1e12]);
    value["pipes"][0]["path"][1] = json!([1e12, 1e12]);
    value["pipes"]
        .as_array_mut()
        .unwrap()
        .push(json!({ "id": "Q", "upstream": "A", "path": [[400_000, 300_000]] }));
    let (files, report) = geoparquet::write(&document_of(value)).unwrap();
    let row = &read(&files, "structures.parquet").rows[1];
    assert_eq!(
        (field(row, "geometry"), field(row, "position.x")),
        (&Field::Null, &Field::Double(1e12))
    );
    let losses: Vec<_> =
        report.losses.iter().map(|loss| (loss.kind, &*loss.pointer, &*loss.message)).collect();
    let vertex = "the path cannot be drawn: a vertex of its path cannot be transformed";
    assert!(losses.contains(&(LossKind::Dropped, "/pipes/0/path", vertex)), "{losses:?}");
    assert!(
        losses.contains(&(LossKind::Dropped, "/pipes/1/path", "a line needs more than one vertex")),
        "{losses:?}"
    );
    let notes: Vec<_> =
        report.notes.iter().map(|note| (&*note.pointer, &*note.message, note.alarm)).collect();
    let why = "position [1000000000000, 1000000000000] cannot be transformed by EPSG:27700; check its order, its unit and the reference system; ";
    let structure = format!("{why}the feature has no geometry");
    let pipe = format!("{why}the pipe, its runs and their observations have no geometry");
    assert!(notes.contains(&("/structures/1/position", &structure, true)), "{notes:?}");
    assert!(notes.contains(&("/pipes/0/path", &pipe, true)), "{notes:?}");
}

proptest! {
    #![proptest_config(cases(12))]
    /// Every row of any document is a feature of its layer, and equal documents give equal bytes.
    #[test]
    fn every_row_is_there(document in documents()) {
        let mut document = document;
        document.head.crs = Some("EPSG:4326".parse().unwrap());
        let (files, _) = geoparquet::write(&document).unwrap();
        prop_assert!(files == geoparquet::write(&document).unwrap().0);
        let rows = |name: &str| read(&files, name).rows.len();
        prop_assert_eq!(rows("structures.parquet"), document.head.structures.len());
        prop_assert_eq!(rows("pipes.parquet"), document.head.pipes.len());
        prop_assert_eq!(rows("locates.parquet"), document.head.locates.len());
        prop_assert_eq!(rows("observations.parquet"), document.runs.iter().map(|run| run.observations.len()).sum::<usize>());
    }
}
