//! GeoPackages: a written file round-trips and has the marks and tables of the standard; an edited
//! file is read or refused.
#![cfg(feature = "geopackage")]
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod common;

use common::{assert_same, cases, difficult, document_of, documents, full, minimal};
use obvert_convert::{ConvertError, Survey, geopackage};
use obvert_model::tables::Document;
use proptest::prelude::*;
use rusqlite::Connection;
use serde_json::{Value, json};

fn written(document: &Document) -> Vec<u8> {
    let mut out = Vec::new();
    assert!(geopackage::write(document, &mut out).unwrap().is_empty());
    out
}

#[track_caller]
fn assert_round_trips(document: &Document) {
    match geopackage::read(&written(document), "survey.gpkg") {
        Ok(survey) => assert_same(document, &survey.document),
        Err(error) => panic!("{error}"),
    }
}

#[test]
fn difficult_documents_round_trip() {
    for (what, document) in difficult() {
        println!("{what}");
        assert_round_trips(&document);
    }
}

proptest! {
    #![proptest_config(cases(24))]
    #[test]
    fn every_document_round_trips(document in documents()) {
        assert_round_trips(&document);
    }
}

#[test]
fn equal_documents_give_equal_bytes() {
    let document = document_of(full(3));
    assert_eq!(written(&document), written(&document));
}

/// A pipe of 100 m from west to east in British National Grid, surveyed against the flow, with a
/// point feature and a continuous feature.
fn survey() -> Value {
    let mut value = minimal();
    value["units"] = json!({ "length": "m", "section": "mm" });
    value["crs"] = json!("EPSG:27700");
    value["structures"] = json!([
        { "id": "A", "kind": "manhole", "position": [400_000.25, 300_000] },
        { "id": "B", "kind": "manhole", "position": [400_100.25, 300_000] },
        { "id": "C", "kind": "cleanout" }
    ]);
    value["pipes"] = json!([
        { "id": "P", "upstream": "A", "downstream": "B", "length": 100 },
        { "id": "Q", "upstream": "A", "path": [[400_000.25, 300_000], [400_000.25, 300_010], [400_005.5, 300_020]] },
        { "id": "L", "upstream": "C" }
    ]);
    value["locates"] = json!([{ "id": "l", "run": "R", "at": 10, "position": [400_090, 300_001] }]);
    value["runs"] = json!([{
        "id": "R", "pipe": "P", "direction": "upstream", "surveyed": 60, "observations": [
            { "id": "1", "at": 10, "code": "joint.open", "joint": true },
            { "id": "2", "at": 20, "to": 50, "continuous": true, "code": "crack.longitudinal" }
        ]
    }]);
    value
}

fn open(bytes: &[u8]) -> Connection {
    let mut base = Connection::open_in_memory().unwrap();
    base.deserialize_read_exact("main", bytes, bytes.len(), false).unwrap();
    base
}

fn texts(base: &Connection, query: &str) -> Vec<String> {
    let mut rows = base.prepare(query).unwrap();
    let rows = rows.query_map([], |row| {
        let cells =
            (0..row.as_ref().column_count()).map(|index| match row.get_ref(index).unwrap() {
                rusqlite::types::ValueRef::Null => "null".to_owned(),
                rusqlite::types::ValueRef::Integer(whole) => whole.to_string(),
                rusqlite::types::ValueRef::Real(number) => number.to_string(),
                rusqlite::types::ValueRef::Text(text) => String::from_utf8(text.to_vec()).unwrap(),
                rusqlite::types::ValueRef::Blob(bytes) => {
                    bytes.iter().map(|byte| format!("{byte:02X}")).collect()
                }
            });
        Ok(cells.collect::<Vec<_>>().join("|"))
    });
    rows.unwrap().map(Result::unwrap).collect()
}

/// OGC 12-128r19: 1.1.1.1.1 (application id and version), Annex C (tables), 2.1.3 (blob), table 1
/// (types), F.3 (spatial index).
#[test]
fn it_is_a_geopackage() {
    let bytes = written(&document_of(survey()));
    assert_eq!(&bytes[68..72], b"GPKG");
    let base = open(&bytes);
    assert_eq!(texts(&base, "PRAGMA user_version"), ["10400"]);
    assert_eq!(texts(&base, "PRAGMA integrity_check"), ["ok"]);
    assert_eq!(texts(&base, "PRAGMA foreign_key_check"), Vec::<String>::new());
    assert_eq!(
        texts(
            &base,
            "SELECT srs_id, organization, organization_coordsys_id, srs_name FROM gpkg_spatial_ref_sys ORDER BY srs_id"
        ),
        [
            "-1|NONE|-1|Undefined cartesian SRS",
            "0|NONE|0|Undefined geographic SRS",
            "4326|EPSG|4326|WGS 84",
            "27700|EPSG|27700|OSGB36 / British National Grid"
        ]
    );
    assert_eq!(
        texts(
            &base,
            "SELECT table_name, geometry_type_name, srs_id FROM gpkg_geometry_columns ORDER BY table_name"
        ),
        [
            "locates|POINT|27700",
            "observations|POINT|27700",
            "pipes|LINESTRING|27700",
            "runs|LINESTRING|27700",
            "stretches|LINESTRING|27700",
            "structures|POINT|27700"
        ]
    );
    assert_eq!(
        texts(
            &base,
            "SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = 'structures'"
        ),
        ["400000.25|300000|400100.25|300000"]
    );
    assert_eq!(
        texts(
            &base,
            "SELECT name, type FROM pragma_table_info('observations') WHERE name IN ('at', 'joint', 'grades.structural', 'code', 'geom', 'fid')"
        ),
        [
            "fid|INTEGER",
            "geom|POINT",
            "at|DOUBLE",
            "code|TEXT",
            "joint|BOOLEAN",
            "grades.structural|INTEGER"
        ]
    );
    assert_eq!(
        texts(&base, "SELECT type FROM pragma_table_info('equipment') WHERE name = 'calibrated'"),
        ["DATE"]
    );
    // The blob of a point: GP, version 0, little-endian without an envelope, system 27700,
    // well-known binary.
    assert_eq!(
        texts(&base, "SELECT geom FROM structures WHERE id = 'A'"),
        ["475000013 46C0000".replace(' ', "") + "0101000000" + &hex(400_000.25) + &hex(300_000.0)]
    );
    // 10 m from the downstream end of 100 m, against the flow; the continuous feature starts there,
    // in the direction of travel.
    let point =
        "4750000134".to_owned() + "6C0000" + "0101000000" + &hex(400_090.25) + &hex(300_000.0);
    assert_eq!(texts(&base, "SELECT geom FROM observations WHERE id = '1'"), [point]);
    let line: String = [400_050.25, 400_080.25, 300_000.0, 300_000.0].map(hex).concat();
    let stretch = "47500003346C0000".to_owned()
        + &line
        + "010200000002000000"
        + &[400_080.25, 300_000.0, 400_050.25, 300_000.0].map(hex).concat();
    assert_eq!(texts(&base, "SELECT geom FROM stretches"), [stretch]);
    // The index has every geometry and nothing else, as 32-bit numbers rounded outwards.
    assert_eq!(texts(&base, "SELECT id FROM rtree_structures_geom ORDER BY id"), ["1", "2"]);
    assert_eq!(texts(&base, "SELECT id FROM rtree_structures_geom WHERE minx > 400050"), ["2"]);
    let triggers = texts(
        &base,
        "SELECT name FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = 'pipes' ORDER BY name",
    );
    let names = ["delete", "insert", "update2", "update4", "update5", "update6", "update7"];
    assert_eq!(triggers, names.map(|name| format!("rtree_pipes_geom_{name}")));
    assert_eq!(
        texts(
            &base,
            "SELECT count(*) FROM gpkg_extensions WHERE extension_name = 'gpkg_rtree_index'"
        ),
        ["6"]
    );
    // A GIS finds the words allowed in a column.
    let words = "SELECT value FROM gpkg_data_column_constraints JOIN gpkg_data_columns USING (constraint_name) \
                 WHERE table_name = 'runs' AND column_name = 'direction'";
    assert_eq!(texts(&base, words), ["downstream", "upstream"]);
}

fn hex(number: f64) -> String {
    number.to_le_bytes().iter().map(|byte| format!("{byte:02X}")).collect()
}

/// Systems missing from the registry keep their name and positions; distances along a line cannot
/// be placed on the map then.
#[test]
fn any_reference_system_is_kept() {
    for (crs, expected) in [
        (Some("EPSG:999999"), "100000|EPSG|999999|EPSG:999999|undefined"),
        (Some("ESRI:102747"), "100000|ESRI|102747|ESRI:102747|undefined"),
        (None, "-1|NONE|-1|Undefined cartesian SRS|undefined"),
    ] {
        let mut value = survey();
        match crs {
            Some(crs) => value["crs"] = json!(crs),
            None => drop(value.as_object_mut().unwrap().remove("crs")),
        }
        let document = document_of(value);
        assert_round_trips(&document);
        let base = open(&written(&document));
        let query = "SELECT s.srs_id, organization, organization_coordsys_id, srs_name, definition FROM gpkg_spatial_ref_sys s \
                     JOIN gpkg_geometry_columns g ON s.srs_id = g.srs_id WHERE table_name = 'pipes'";
        assert_eq!(texts(&base, query), [expected]);
        assert_eq!(texts(&base, "SELECT count(geom) FROM pipes"), ["2"]);
        assert_eq!(texts(&base, "SELECT count(geom) FROM observations"), ["0"]);
    }
}

/// The file after an edit in SQL. The triggers of the index call functions that only a GIS has, so
/// they are dropped first.
fn edited(sql: &str) -> Result<Survey, ConvertError> {
    edited_of(survey(), sql)
}

fn edited_of(survey: Value, sql: &str) -> Result<Survey, ConvertError> {
    let mut base = open(&written(&document_of(survey)));
    for trigger in texts(&base, "SELECT name FROM sqlite_schema WHERE type = 'trigger'") {
        base.execute_batch(&format!("DROP TRIGGER {trigger}")).unwrap();
    }
    base.execute_batch("PRAGMA foreign_keys = OFF").unwrap();
    base.execute_batch(sql).unwrap();
    let bytes = base.serialize("main").unwrap().to_vec();
    geopackage::read(&bytes, "survey.gpkg")
}

fn message(sql: &str) -> String {
    match edited(sql) {
        Ok(_) => "nothing".to_owned(),
        Err(ConvertError::Structure(problems)) => {
            problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
        }
        Err(error) => error.to_string(),
    }
}

fn blob(positions: &[f64], line: bool) -> String {
    let kind = if line {
        format!("0102000000{:02X}000000", positions.len() / 2)
    } else {
        "0101000000".to_owned()
    };
    format!(
        "x'47500001346C0000{kind}{}'",
        positions.iter().map(|number| hex(*number)).collect::<String>()
    )
}

#[test]
fn edits_are_read_or_refused() {
    assert_eq!(message(""), "nothing");
    // A new structure with only a geometry.
    let point = blob(&[400_007.5, 300_008.0], false);
    let survey = edited(&format!(
        "INSERT INTO structures (geom, id, kind) VALUES ({point}, 'D', 'outfall')"
    ))
    .unwrap();
    let drawn = survey.document.head.structures.last().unwrap();
    assert_eq!(
        drawn.position.map(|position| [position.x(), position.y()]),
        Some([400_007.5, 300_008.0])
    );
    assert_eq!(
        survey.places.place("/structures/3/id").unwrap().to_string(),
        "structures:4:1 (column id)"
    );
    let path = blob(&[400_000.25, 300_000.0, 400_001.0, 300_010.0, 400_005.5, 300_020.0], true);
    let cases = [
        (format!("UPDATE structures SET geom = {point} WHERE id = 'B'"), "structures:2: the point is at 400007.5, 300008, and"),
        ("UPDATE structures SET \"position.x\" = 1 WHERE id = 'B'".to_owned(), "structures:2: the point is at 400100.25, 300000"),
        (format!("UPDATE pipes SET geom = {path} WHERE id = 'Q'"), "pipes:2: the line of pipe \"Q\" differs from its path"),
        (format!("UPDATE pipes SET geom = {path} WHERE id = 'P'"), "pipes:1: the line of pipe \"P\" differs from its path"),
        ("UPDATE structures SET geom = x'00' WHERE id = 'B'".to_owned(), "structures:2: the geometry is not valid"),
        ("UPDATE runs SET direction = 'down'".to_owned(), "runs:1:5 (column direction): /runs/0/direction: \"down\" is not one of"),
        ("UPDATE observations SET at = 'ten' WHERE id = '2'".to_owned(), "observations:2:3 (column at): /runs/0/observations/1/at: \"ten\" is not"),
        ("UPDATE observations SET run = 'S' WHERE id = '2'".to_owned(), "observations:2:1 (column run): /runs/-/observations/-: runs has no run \"S\""),
        ("UPDATE observations SET joint = 2 WHERE id = '1'".to_owned(), "observations:1:"),
        ("UPDATE observations SET remark = x'FF' WHERE id = '1'".to_owned(), "observations:1:"),
        ("ALTER TABLE pipes ADD COLUMN colour TEXT".to_owned(), "pipes:1:"),
        ("INSERT INTO gpkg_contents (table_name, data_type) VALUES ('pipe', 'features')".to_owned(), "pipe:1: /-/pipe: this is not the name of a table, so its rows are not read; rename it"),
        ("DELETE FROM gpkg_contents WHERE table_name = 'document'".to_owned(), "survey.gpkg: there is no table \"document\""),
        ("DROP TABLE gpkg_contents".to_owned(), "survey.gpkg: not a GeoPackage"),
        ("DROP TABLE stretches; CREATE VIEW x AS SELECT 1; DROP TABLE locates; CREATE VIEW locates AS SELECT * FROM structures".to_owned(), "locates:1: the table cannot be read"),
    ];
    for (sql, expected) in cases {
        let message = message(&sql);
        assert!(message.starts_with(expected), "{sql}\n{expected}\ndoes not begin\n{message}");
    }
}

/// OGC 12-128r19: every geometry is in the system of its layer (2.1.3, 2.1.5); -1 and 0 mean
/// undefined (requirement 11).
#[test]
fn layers_in_another_system_than_the_document_are_refused() {
    let srs = "INSERT INTO gpkg_spatial_ref_sys VALUES ('Another', 5, 'epsg', 27700, 'undefined', NULL), ('Mine', 7, 'ESRI', 102747, 'undefined', NULL);";
    let layer = |id: i32| {
        format!("UPDATE gpkg_geometry_columns SET srs_id = {id} WHERE table_name = 'structures';")
    };
    let blob_in = |id: &str| {
        format!(
            "UPDATE structures SET geom = x'47500001{id}0101000000{}{}' WHERE id = 'B';",
            hex(400_100.25),
            hex(300_000.0)
        )
    };
    let crs = |crs: &str| format!("UPDATE document SET crs = {crs};");
    // Geometries are adopted only if they are in the document's system, under any number.
    let empty = "UPDATE structures SET \"position.x\" = NULL, \"position.y\" = NULL;";
    let renamed =
        "UPDATE gpkg_geometry_columns SET srs_id = 5; UPDATE gpkg_contents SET srs_id = 5;";
    for sql in [
        empty.to_owned(),
        format!("{srs}{renamed}"),
        format!("{srs}{}", blob_in("05000000")),
        crs("'epsg:27700'"),
    ] {
        assert_eq!(message(&sql), "nothing", "{sql}");
    }
    let end = "reproject it to EPSG:27700, or correct the one that is wrong, the layer's srs_id or document.crs";
    let cases = [
        (layer(4326), format!("structures:1: the layer is in EPSG:4326, WGS 84 (srs_id 4326) and the document in EPSG:27700 (document.crs); {end}")),
        (layer(-1), format!("structures:1: the layer is in an undefined reference system (srs_id -1) and the document in EPSG:27700 (document.crs); {end}")),
        (layer(9), format!("structures:1: the layer is in a reference system that is missing in gpkg_spatial_ref_sys (srs_id 9) and the document in EPSG:27700 (document.crs); {end}")),
        (format!("{srs}{}", layer(7)), "structures:1: the layer is in ESRI:102747, Mine (srs_id 7) and the document in EPSG:27700".to_owned()),
        (blob_in("E6100000"), "structures:2: the geometry is in EPSG:4326, WGS 84 (srs_id 4326) and the document in EPSG:27700 (document.crs); reproject it to EPSG:27700, or correct the one that is wrong, the srs_id in its header or document.crs".to_owned()),
        (crs("'EPSG:6547'"), "structures:1: the layer is in EPSG:27700, OSGB36 / British National Grid (srs_id 27700) and the document in EPSG:6547 (document.crs)".to_owned()),
        (crs("'ESRI:102747'"), "structures:1: the layer is in EPSG:27700, OSGB36 / British National Grid (srs_id 27700) and the document in ESRI:102747".to_owned()),
        (crs("NULL"), "structures:1: the layer is in EPSG:27700, OSGB36 / British National Grid (srs_id 27700), and the document has no reference system; write that of all positions into document.crs".to_owned()),
        ("UPDATE gpkg_geometry_columns SET srs_id = 4326 WHERE table_name = 'pipes'".to_owned(), "pipes:1: the layer is in EPSG:4326".to_owned()),
    ];
    for (sql, expected) in cases {
        for more in ["", empty] {
            let message = message(&format!("{sql};{more}"));
            assert!(message.starts_with(&expected), "{sql}\n{expected}\ndoes not begin\n{message}");
        }
    }
    // A layer without geometries has no system to check.
    let none = "UPDATE structures SET geom = NULL; UPDATE pipes SET geom = NULL; UPDATE locates SET geom = NULL;";
    assert_eq!(message(&format!("{none}{}", crs("'EPSG:6547'"))), "nothing");
}

/// A program that has no definition and does not know the code writes the undefined system.
#[test]
fn unknown_systems_may_be_lost() {
    for (crs, lost, read) in [
        (json!("EPSG:999999"), 0, true),
        (json!("ESRI:102747"), -1, true),
        (json!(null), 0, true),
        (json!("EPSG:5514"), 0, false),
        (json!("EPSG:27700"), -1, false),
    ] {
        let mut value = survey();
        match &crs {
            Value::Null => drop(value.as_object_mut().unwrap().remove("crs")),
            crs => value["crs"] = crs.clone(),
        }
        let mut id: String =
            i32::to_le_bytes(lost).iter().map(|byte| format!("{byte:02X}")).collect();
        id.push_str("0101000000");
        let blob = format!("x'47500001{id}{}{}'", hex(400_000.25), hex(300_000.0));
        let sql = format!(
            "UPDATE gpkg_geometry_columns SET srs_id = {lost}; UPDATE structures SET geom = NULL; \
             UPDATE structures SET geom = {blob} WHERE id = 'A'; UPDATE pipes SET geom = NULL; UPDATE locates SET geom = NULL"
        );
        assert_eq!(edited_of(value, &sql).is_ok(), read, "{crs}");
    }
}

/// Well-known binary of OGC 06-103r4, 8.2: kinds 1 and 2, with a height 1001, with a measure 2001.
#[test]
fn geometries_that_a_row_cannot_have_are_refused() {
    let raw = |kind: u32, numbers: &[f64]| {
        let kind: String = kind.to_le_bytes().iter().map(|byte| format!("{byte:02X}")).collect();
        format!(
            "x'47500001346C000001{kind}{}'",
            numbers.iter().map(|number| hex(*number)).collect::<String>()
        )
    };
    let line = blob(&[400_000.25, 300_000.0, 400_001.0, 300_010.0], true);
    let short = blob(&[400_000.25, 300_000.0], true);
    let [x, y] = [400_100.25, 300_000.0];
    let cases = [
        (
            "structures",
            2,
            line.clone(),
            "the geometry is a line; draw a point for a row of structures",
        ),
        ("locates", 1, line, "the geometry is a line; draw a point for a row of locates"),
        (
            "pipes",
            1,
            blob(&[x, y], false),
            "the geometry is a point; draw a line for a row of pipes",
        ),
        (
            "pipes",
            1,
            short,
            "the line has one position, and a line needs two or more; draw it again, or set it to NULL",
        ),
        (
            "structures",
            2,
            blob(&[f64::INFINITY, 0.0], false),
            "the geometry is at inf, 0, which is not a valid position; draw it again, or set it to NULL",
        ),
        (
            "structures",
            2,
            blob(&[f64::NAN, 0.0], false),
            "the geometry is at NaN, 0, which is not a valid position; draw it again, or set it to NULL",
        ),
        (
            "structures",
            2,
            raw(1001, &[x, y, 81.5]),
            "the geometry has the height or measure 81.5; put elevations into the columns, and remove it",
        ),
        ("structures", 2, raw(2001, &[x, y, 3.0]), "the geometry has the height or measure 3; put"),
        (
            "structures",
            2,
            raw(1001, &[x, y, f64::INFINITY]),
            "the geometry has the height or measure inf; put",
        ),
    ];
    for (table, row, geometry, expected) in cases {
        for empty in [false, true] {
            let columns = if empty && table != "pipes" {
                ", \"position.x\" = NULL, \"position.y\" = NULL"
            } else {
                ""
            };
            let message = message(&format!(
                "UPDATE {table} SET geom = {geometry}{columns} WHERE fid = {row}"
            ));
            assert!(
                message.starts_with(&format!("{table}:{row}: {expected}")),
                "{geometry}\n{expected}\ndoes not begin\n{message}"
            );
        }
    }
    // A placeholder for a missing height, written by programs without 2D points; an empty point; a
    // geometry without content.
    for (table, geometry) in [
        ("structures", raw(1001, &[x, y, 0.0])),
        ("structures", raw(1001, &[x, y, f64::NAN])),
        ("structures", raw(1, &[f64::NAN, f64::NAN])),
        ("observations", raw(1001, &[x, y, 81.5])),
    ] {
        assert_eq!(
            message(&format!("UPDATE {table} SET geom = {geometry} WHERE fid = 2")),
            "nothing",
            "{geometry}"
        );
    }
}

#[test]
fn other_files_are_recognised() {
    let message = |bytes: &[u8]| geopackage::read(bytes, "survey.gpkg").unwrap_err().to_string();
    assert!(message(b"PK\x03\x04").starts_with("survey.gpkg: not a GeoPackage"));
    assert!(message(b"").starts_with("survey.gpkg: not a GeoPackage"));
    let mut bytes = written(&document_of(minimal()));
    bytes[18] = 2;
    bytes[19] = 2;
    assert!(message(&bytes).contains("write-ahead log"), "{}", message(&bytes));
    let bytes = written(&document_of(full(1)));
    for length in (0..bytes.len()).step_by(bytes.len() / 20) {
        assert!(geopackage::read(&bytes[..length], "survey.gpkg").is_err(), "{length}");
    }
}
