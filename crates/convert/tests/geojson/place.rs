//! Where distances are on the map: compared with arithmetic done by hand in the map plane, and with
//! published geodesic values if the reference system is geographic.

use obvert_geo::Crs;
use serde_json::{Value, json};

use super::{collection, common, feature, street, utm, write};

/// The geographic coordinates of a map position.
fn geographic(crs: &str, x: f64, y: f64) -> [f64; 2] {
    Crs::parse(crs).unwrap().to_wgs84([x, y]).unwrap()
}

#[track_caller]
fn assert_near(found: &Value, expected: [f64; 2], what: &str) {
    let found: [f64; 2] = [found[0].as_f64().unwrap(), found[1].as_f64().unwrap()];
    // Half of the last written decimal, plus the rounding of sums of doubles.
    let near = (0..2).all(|axis| (found[axis] - expected[axis]).abs() <= 0.6e-9);
    assert!(near, "{what}: {found:?} is not {expected:?}");
}

/// Fails unless an observation is a point at the given position in UTM zone 17.
#[track_caller]
fn assert_point(collection: &Value, id: &str, x: f64, y: f64) {
    let geometry = &feature(collection, "observations", id)["geometry"];
    assert_eq!(geometry["type"], "Point", "{id}: {geometry}");
    assert_near(&geometry["coordinates"], geographic("EPSG:32617", x, y), id);
}

/// Fails unless a feature is a line through the given positions.
#[track_caller]
fn assert_line(collection: &Value, table: &str, id: &str, places: &[[f64; 2]]) {
    let geometry = &feature(collection, table, id)["geometry"];
    assert_eq!(geometry["type"], "LineString", "{id}: {geometry}");
    let found = geometry["coordinates"].as_array().unwrap();
    assert_eq!(found.len(), places.len(), "{id}: {geometry}");
    for (found, [x, y]) in found.iter().zip(places) {
        assert_near(found, geographic("EPSG:32617", *x, *y), id);
    }
}

/// The position for a reading of 10. The pipe is 50 long and drawn 100 long from x = 500 000, so a
/// distance d from its upstream end is at 500 000 + 2 d.
#[test]
fn a_reading_is_placed_by_zero_direction_and_proportion() {
    let cases: &[(&str, Value, &str, Option<&str>, f64)] = &[
        ("plain, downstream", json!(null), "downstream", None, 10.0),
        ("plain, upstream: from the other end", json!(null), "upstream", None, 40.0),
        (
            "the counter read 2 at its zero",
            json!({ "zero": "structure-centre", "reads": 2 }),
            "downstream",
            None,
            8.0,
        ),
        (
            "the zero lies 1 inside",
            json!({ "zero": "pipe-end", "offset": 1 }),
            "downstream",
            None,
            11.0,
        ),
        (
            "both, upstream",
            json!({ "zero": "pipe-end", "offset": 1, "reads": 2 }),
            "upstream",
            None,
            41.0,
        ),
        (
            "the length is from wall to wall and the zero was at the wall",
            json!({ "zero": "structure-wall", "offset": 1 }),
            "downstream",
            Some("walls"),
            10.0,
        ),
        (
            "the length is from end to end and the zero was at the end",
            json!({ "zero": "pipe-end", "offset": 1, "reads": 0.5 }),
            "upstream",
            Some("ends"),
            40.5,
        ),
        (
            "the length is from centre to centre and the zero was at the wall",
            json!({ "zero": "structure-wall", "offset": 1 }),
            "downstream",
            Some("centres"),
            11.0,
        ),
        (
            "an access fitting lies where its offset says, whatever the length is between",
            json!({ "zero": "access-fitting", "offset": 3 }),
            "downstream",
            Some("walls"),
            13.0,
        ),
    ];
    for (what, counter, direction, between, distance) in cases {
        let mut run = json!({ "id": "R", "pipe": "P", "direction": direction, "surveyed": 30,
            "observations": [{ "id": "1", "at": 10, "code": "x" }] });
        if !counter.is_null() {
            run["counter"] = counter.clone();
        }
        let mut document = street(json!([run]));
        document.head.pipes[0].length_between = between.map(|word| word.parse().unwrap());
        let collection = collection(&document);
        let geometry = &feature(&collection, "observations", "1")["geometry"];
        assert_near(
            &geometry["coordinates"],
            geographic("EPSG:32617", 500_000.0 + 2.0 * distance, 4_000_000.0),
            what,
        );
        assert!(
            feature(&collection, "observations", "1")["properties"].get("placed").is_none(),
            "{what}"
        );
    }
}

#[test]
fn a_run_covers_its_pipe_from_its_zero_to_its_last_reading_in_the_direction_of_travel() {
    let collection = collection(&street(json!([
        { "id": "down", "pipe": "P", "direction": "downstream", "surveyed": 30 },
        { "id": "up", "pipe": "P", "direction": "upstream",
          "counter": { "zero": "structure-centre", "reads": 5 }, "surveyed": 15,
          "observations": [{ "id": "1", "at": 40, "code": "x" }] },
        { "id": "unsaid", "pipe": "P", "direction": "downstream",
          "observations": [{ "id": "1", "at": 4, "code": "x" }, { "id": "2", "at": 6, "to": 20, "code": "x" }] },
        { "id": "nothing", "pipe": "P", "direction": "downstream" },
        { "id": "elsewhere", "pipe": "X", "direction": "downstream", "surveyed": 3 }
    ])));
    let y = 4_000_000.0;
    assert_line(&collection, "runs", "down", &[[500_000.0, y], [500_060.0, y]]);
    assert_line(&collection, "runs", "up", &[[500_100.0, y], [500_080.0, y]]);
    assert_line(&collection, "runs", "unsaid", &[[500_000.0, y], [500_040.0, y]]);
    assert_eq!(feature(&collection, "runs", "nothing")["geometry"], Value::Null);
    assert_eq!(feature(&collection, "runs", "elsewhere")["geometry"], Value::Null);
}

#[test]
fn a_continuous_feature_is_the_part_of_the_pipe_that_it_covers() {
    let mut document = utm(json!({
        "pipes": [{ "id": "P", "upstream": "A", "downstream": "B", "length": 100,
            "path": [[500_000, 4_000_000], [500_060, 4_000_000], [500_060, 4_000_040]] }],
        "runs": [
            { "id": "R", "pipe": "P", "direction": "downstream", "observations": [
                { "id": "bend", "at": 50, "to": 70, "continuous": true, "code": "x" },
                { "id": "open", "at": 20, "continuous": true, "code": "x" },
                { "id": "nothing long", "at": 20, "to": 20, "continuous": true, "code": "x" },
                { "id": "backwards", "at": 30, "to": 10, "code": "x" }
            ] },
            { "id": "S", "pipe": "P", "direction": "upstream", "observations": [
                { "id": "against", "at": 30, "to": 50, "continuous": true, "code": "x" }
            ] }
        ]
    }));
    let bend = [[500_050.0, 4_000_000.0], [500_060.0, 4_000_000.0], [500_060.0, 4_000_010.0]];
    let seen = collection(&document);
    assert_line(&seen, "observations", "bend", &bend);
    assert_line(&seen, "observations", "against", &[bend[2], bend[1], bend[0]]);
    assert_line(
        &seen,
        "observations",
        "backwards",
        &[[500_010.0, 4_000_000.0], [500_030.0, 4_000_000.0]],
    );
    assert_point(&seen, "open", 500_020.0, 4_000_000.0);
    assert_point(&seen, "nothing long", 500_020.0, 4_000_000.0);

    // Without a stated length the pipe is as long as it is drawn. In a projected system that is the
    // length on the map, here in US survey feet of 1200/3937 m.
    document.head.pipes[0].length = None;
    document.head.units.length = obvert_model::tables::LengthUnit::UsSurveyFoot;
    let (begin, end) = (50.0 * 1200.0 / 3937.0, 70.0 * 1200.0 / 3937.0);
    let seen = collection(&document);
    assert_line(
        &seen,
        "observations",
        "bend",
        &[[500_000.0 + begin, 4_000_000.0], [500_000.0 + end, 4_000_000.0]],
    );
}

#[test]
fn observations_beyond_the_pipe_are_drawn_and_noted_at_its_end() {
    let document = street(json!([
        { "id": "R", "pipe": "P", "direction": "downstream", "surveyed": 50.4, "observations": [
            { "id": "before", "at": -0.25, "code": "x" },
            { "id": "end", "at": 50, "code": "x" },
            { "id": "past", "at": 50.4, "code": "x" },
            { "id": "partly", "at": 45, "to": 50.3, "continuous": true, "code": "x" }
        ] },
        { "id": "S", "pipe": "P", "direction": "upstream", "observations": [{ "id": "up", "at": 51.5, "code": "x" }] }
    ]));
    let collection = collection(&document);
    let placed =
        |id: &str| feature(&collection, "observations", id)["properties"].get("placed").cloned();
    let y = 4_000_000.0;
    assert_point(&collection, "before", 500_000.0, y);
    assert_point(&collection, "end", 500_100.0, y);
    assert_point(&collection, "past", 500_100.0, y);
    assert_line(&collection, "observations", "partly", &[[500_090.0, y], [500_100.0, y]]);
    assert_point(&collection, "up", 500_000.0, y);
    assert_eq!(placed("end"), None);
    let note = |text: &str| Some(json!(format!("drawn at the {text} it")));
    assert_eq!(
        placed("before"),
        note("near end of the pipe; the recorded distance lies 0.25 m before")
    );
    assert_eq!(placed("past"), note("far end of the pipe; the recorded distance lies 0.4 m past"));
    assert_eq!(placed("up"), note("far end of the pipe; the recorded distance lies 1.5 m past"));

    let (_, report) = write(&document);
    let notes: Vec<_> =
        report.notes.iter().map(|note| (note.pointer.as_str(), note.message.as_str())).collect();
    assert_eq!(
        notes,
        [
            (
                "/runs/0",
                "3 observations lie up to 0.4 m beyond the ends of the pipe and are drawn at the nearer end"
            ),
            (
                "/runs/1",
                "1 observation lies up to 1.5 m beyond the ends of the pipe and is drawn at the nearer end"
            ),
        ]
    );
}

#[test]
fn a_lateral_runs_to_its_junction() {
    // L joins P at 10 of 50, so at x = 500 020, straight south of C. M joins L 3 m down its 10 m.
    let mut document = street(json!([
        { "id": "R", "pipe": "L", "direction": "upstream", "launched": { "pipe": "P", "at": 10 },
          "observations": [{ "id": "1", "at": 4, "code": "x" }] },
        { "id": "S", "pipe": "M", "direction": "downstream", "observations": [{ "id": "2", "at": 2.5, "code": "x" }] },
        { "id": "T", "pipe": "N", "direction": "upstream", "launched": { "pipe": "P", "at": 25 },
          "observations": [{ "id": "3", "at": 5, "code": "x" }] }
    ]));
    let more = street(json!([])).head;
    document.head.structures.extend(
        utm(json!({ "structures": [
            { "id": "D", "kind": "cleanout", "position": [500_025, 4_000_007] },
            { "id": "E", "kind": "cleanout", "position": [500_050, 4_000_020] }
        ] }))
        .head
        .structures,
    );
    let pipes = utm(json!({ "pipes": [
        // Listed before the pipe that it joins.
        { "id": "M", "upstream": "D", "joins": { "pipe": "L", "at": 3 } },
        // Its junction is not recorded; the camera was launched into it at x = 500 050.
        { "id": "N", "upstream": "E", "joins": { "pipe": "P" } }
    ] }));
    document.head.pipes = pipes.head.pipes.into_iter().chain(more.pipes).collect();
    let seen = collection(&document);
    assert_line(&seen, "pipes", "L", &[[500_020.0, 4_000_010.0], [500_020.0, 4_000_000.0]]);
    assert_line(&seen, "pipes", "M", &[[500_025.0, 4_000_007.0], [500_020.0, 4_000_007.0]]);
    assert_eq!(feature(&seen, "pipes", "N")["geometry"], Value::Null);
    assert_point(&seen, "1", 500_020.0, 4_000_004.0);
    assert_point(&seen, "2", 500_022.5, 4_000_007.0);
    assert_point(&seen, "3", 500_050.0, 4_000_005.0);
}

#[test]
fn laterals_in_a_ring_or_a_long_chain_end() {
    let ring = utm(json!({
        "structures": [{ "id": "A", "kind": "cleanout", "position": [500_000, 4_000_000] }],
        "pipes": [
            { "id": "1", "upstream": "A", "joins": { "pipe": "2", "at": 1 } },
            { "id": "2", "upstream": "A", "joins": { "pipe": "1", "at": 1 } },
            { "id": "3", "upstream": "A", "joins": { "pipe": "3", "at": 1 } }
        ]
    }));
    let seen = collection(&ring);
    for id in ["1", "2", "3"] {
        assert_eq!(feature(&seen, "pipes", id)["geometry"], Value::Null);
    }

    let long = 20_000;
    let mut pipes: Vec<Value> = (0..long)
        .map(|n| json!({ "id": n.to_string(), "upstream": "A", "joins": { "pipe": (n + 1).to_string(), "at": 0.5 }, "length": 1 }))
        .collect();
    pipes.push(json!({ "id": long.to_string(), "upstream": "A", "downstream": "B" }));
    let chain = utm(json!({
        "structures": [
            { "id": "A", "kind": "cleanout", "position": [500_000, 4_000_000] },
            { "id": "B", "kind": "manhole", "position": [500_100, 4_000_000] }
        ],
        "pipes": pipes
    }));
    let seen = collection(&chain);
    // Half of a hundred metres, half of that, and so on.
    assert_line(&seen, "pipes", "19998", &[[500_000.0, 4_000_000.0], [500_000.25, 4_000_000.0]]);
}

/// The positions of the facts sheet (section E), computed with GeographicLib on WGS 84.
#[test]
fn geographic_positions_are_geodesic() {
    let document = |unit: &str, from: [f64; 2], to: [f64; 2], at: f64| {
        let mut value = common::minimal();
        value["units"]["length"] = json!(unit);
        value["crs"] = json!("EPSG:4326");
        value["structures"] = json!([
            { "id": "A", "kind": "manhole", "position": from }, { "id": "B", "kind": "manhole", "position": to }
        ]);
        value["pipes"] = json!([{ "id": "P", "upstream": "A", "downstream": "B" }]);
        value["runs"] = json!([{ "id": "R", "pipe": "P", "direction": "downstream",
            "observations": [{ "id": "1", "at": at, "code": "x" }] }]);
        common::document_of(value)
    };
    #[track_caller]
    fn assert_at(document: &obvert_model::tables::Document, expected: [f64; 2], slack: f64) {
        let collection = collection(document);
        let found = &feature(&collection, "observations", "1")["geometry"]["coordinates"];
        for axis in 0..2 {
            let found = found[axis].as_f64().unwrap();
            assert!((found - expected[axis]).abs() <= slack, "{found} is not {}", expected[axis]);
        }
    }
    // (45, 0)-(45, 0.001) is 78.846835 m long; halfway is 0.0005 by symmetry, in any unit.
    for (unit, metres) in [("m", 1.0), ("ft", 0.3048), ("us-ft", 1200.0 / 3937.0)] {
        let document = document(unit, [0.0, 45.0], [0.001, 45.0], 78.846835 / 2.0 / metres);
        assert_at(&document, [0.0005, 45.0], 1.5e-9);
    }
    // 1° of longitude on the equator is 111 319.490793 m, and positions between are proportional.
    assert_at(&document("m", [0.0, 0.0], [1.0, 0.0], 111_319.490_793 / 4.0), [0.25, 0.0], 0.6e-9);
    // 1° of latitude from the equator is 110 574.388558 m: beyond the far end of a shorter pipe, so
    // it is drawn at that end.
    assert_at(&document("m", [0.0, 0.0], [0.0, 1.5], 110_574.388_558), [0.0, 1.0], 0.6e-9);
    // Direct problem: from 53.3498, −6.2603 at azimuth 37.5° over 85.34 m. The pipe goes on to
    // almost twice the distance.
    let start = [-6.2603, 53.3498];
    let end =
        [-6.2603 + 2.0 * (6.2603 - 6.259_519_856), 53.3498 + 2.0 * (53.350_408_345 - 53.3498)];
    assert_at(&document("m", start, end, 85.34), [-6.259_519_856, 53.350_408_345], 1e-8);
    assert_at(
        &document("m", start, [-6.258_498_018, 53.349_799_986], 120.0),
        [-6.258_498_018, 53.349_799_986],
        1e-9,
    );
}

#[test]
fn structures_and_locates_are_at_their_recorded_positions() {
    let collection = collection(&street(json!([])));
    let point =
        |table: &str, id: &str| feature(&collection, table, id)["geometry"]["coordinates"].clone();
    assert_near(&point("structures", "B"), geographic("EPSG:32617", 500_100.0, 4_000_000.0), "B");
    assert_near(&point("locates", "T"), geographic("EPSG:32617", 500_014.25, 4_000_000.5), "T");
    // UTM zone 17 has its central meridian at 81° west, easting 500 000; A is on it.
    let a = point("structures", "A");
    assert_eq!(a[0], json!(-81.0));
    // The position itself stays as recorded.
    assert_eq!(
        feature(&collection, "structures", "B")["properties"]["position"],
        json!([500_100, 4_000_000])
    );
}

#[test]
fn a_position_outside_the_globe_has_no_geometry_and_a_note() {
    let document = utm(json!({
        "structures": [
            { "id": "A", "kind": "manhole", "position": [500_000, 4_000_000] },
            { "id": "B", "kind": "manhole", "position": [1e15, 1e15] }
        ],
        "pipes": [{ "id": "P", "upstream": "A", "downstream": "B", "length": 50 }],
        "runs": [{ "id": "R", "pipe": "P", "direction": "downstream",
            "observations": [{ "id": "1", "at": 1, "code": "x" }] }]
    }));
    let (text, report) = write(&document);
    common::assert_same(&document, &super::read(&text));
    let pointers: Vec<&str> = report.notes.iter().map(|note| note.pointer.as_str()).collect();
    assert_eq!(pointers, ["/structures/1/position", "/pipes/0"], "{report:?}");
    let collection: Value = serde_json::from_str(&text).unwrap();
    for (table, id) in [("structures", "B"), ("pipes", "P"), ("runs", "R"), ("observations", "1")] {
        assert_eq!(feature(&collection, table, id)["geometry"], Value::Null, "{table} {id}");
    }
    assert_ne!(feature(&collection, "structures", "A")["geometry"], Value::Null);
}
