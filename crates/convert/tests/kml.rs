//! KML: the positions of placemarks, and a loss report that covers everything left out.
#![cfg(all(feature = "kml", feature = "geojson", feature = "xml"))]
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod common;

use common::{cases, document_of, documents, minimal};
use obvert_convert::{ConvertError, Loss, LossKind, geojson, kml};
use obvert_model::tables::Document;
use proptest::prelude::*;
use serde_json::{Value, json};

fn survey() -> Document {
    let mut value = minimal();
    value["crs"] = json!("EPSG:27700");
    value["units"] = json!({ "length": "m", "section": "mm" });
    value["assignment"] = json!({ "title": "Mill & Race", "contract": "12" });
    value["parties"] = json!([{ "id": "p", "name": "Larkmoor Water Department", "role": "owner" }]);
    value["structures"] = json!([
        { "id": "A", "kind": "manhole", "position": [400_000, 300_000], "street": "<Mill> \"Lane\" \u{1}" },
        { "id": "B", "kind": "manhole", "position": [400_100, 300_000] },
        { "id": "C", "kind": "cleanout" }
    ]);
    value["pipes"] =
        json!([{ "id": "P", "upstream": "A", "downstream": "B", "length": 100, "height": 300 }]);
    value["locates"] =
        json!([{ "id": "l", "run": "R", "at": 10, "position": [400_010, 300_001], "depth": 2.5 }]);
    value["media"] = json!([{ "id": "m", "file": "m.jpg", "kind": "photo" }]);
    value["runs"] = json!([
        { "id": "R", "pipe": "P", "direction": "downstream", "counter": { "zero": "structure-centre", "checks": [{ "reading": 1, "known": 1 }] },
          "observations": [
            { "id": "1", "at": 10, "code": "crack.longitudinal", "quantities": [{ "value": 3, "unit": "mm" }, { "value": 5, "unit": "percent" }], "media": [{ "id": "m" }] },
            { "id": "2", "at": 20, "to": 50, "continuous": true, "code": "deposits.settled" }
        ] },
        { "id": "S", "pipe": "Z", "direction": "downstream", "observations": [{ "id": "1", "at": 0, "code": "run.start" }] }
    ]);
    document_of(value)
}

fn written(document: &Document) -> (String, Vec<(LossKind, String)>) {
    let mut out = Vec::new();
    let report = kml::write(document, &mut out).unwrap();
    let losses = report.losses.into_iter().map(|loss| (loss.kind, loss.pointer)).collect();
    (String::from_utf8(out).unwrap(), losses)
}

/// The text of a placemark by its id.
fn placemark<'k>(kml: &'k str, id: &str) -> &'k str {
    let from = kml
        .split(&format!("<Placemark id=\"{id}\">"))
        .nth(1)
        .unwrap_or_else(|| panic!("no {id} in {kml}"));
    from.split("</Placemark>").next().unwrap()
}

/// Elements and their order: OGC 07-147r2, Placemark.
#[test]
fn placemarks_have_the_positions_of_geojson_and_the_values_of_the_rows() {
    let document = survey();
    let (kml, _) = written(&document);
    let mut out = Vec::new();
    geojson::write(&document, &mut out).unwrap();
    let map: Value = serde_json::from_slice(&out).unwrap();
    let mut compared = 0;
    for feature in map["features"].as_array().unwrap() {
        let id = match (
            feature["properties"]["table"].as_str().unwrap(),
            feature["id"].as_str().unwrap(),
        ) {
            ("structures", "A") => "structures-1",
            ("structures", "B") => "structures-2",
            ("pipes", "P") => "pipes-1",
            ("locates", "l") => "locates-1",
            ("observations", "1") if feature["properties"]["run"] == "R" => "observations-1-1",
            ("observations", "2") => "observations-1-2",
            _ => continue,
        };
        let coordinates = &feature["geometry"]["coordinates"];
        let list = if coordinates[0].is_array() {
            coordinates.as_array().unwrap().clone()
        } else {
            vec![coordinates.clone()]
        };
        let text: Vec<String> =
            list.iter().map(|position| format!("{},{}", position[0], position[1])).collect();
        let expected = format!("<coordinates>{}</coordinates>", text.join(" "));
        assert!(
            placemark(&kml, id).contains(&expected),
            "{id} is not at {expected}: {}",
            placemark(&kml, id)
        );
        compared += 1;
    }
    assert_eq!(compared, 6);
    assert_eq!(kml.matches("<Placemark ").count(), 6);
    assert!(kml.contains("<name>Mill &amp; Race</name>"));
    let structure = placemark(&kml, "structures-1");
    assert!(structure.starts_with("<name>manhole A</name><styleUrl>#structures</styleUrl><ExtendedData><Data name=\"id\"><value>A</value></Data>"), "{structure}");
    assert!(
        structure.contains(
            "<Data name=\"street\"><value>&lt;Mill&gt; &quot;Lane&quot; \u{FFFD}</value></Data>"
        ),
        "{structure}"
    );
    let point = placemark(&kml, "observations-1-1");
    assert!(
        point.starts_with(
            "<name>crack.longitudinal at 10 m</name><styleUrl>#observations</styleUrl>"
        ),
        "{point}"
    );
    for (name, value) in
        [("at", "10"), ("run.id", "R"), ("pipe.height", "300"), ("quantities", "3 mm; 5 percent")]
    {
        assert!(
            point.contains(&format!("<Data name=\"{name}\"><value>{value}</value></Data>")),
            "{name}: {point}"
        );
    }
    assert!(placemark(&kml, "observations-1-2").contains("<styleUrl>#stretches</styleUrl>"));
    assert!(placemark(&kml, "observations-1-2").contains("<LineString><tessellate>1</tessellate>"));
}

#[test]
fn omitted_values_are_reported() {
    let (_, losses) = written(&survey());
    let expected = [
        (LossKind::Dropped, "/units"),
        (LossKind::Changed, "/crs"),
        (LossKind::Dropped, "/coding"),
        (LossKind::Dropped, "/assignment/contract"),
        (LossKind::Dropped, "/parties"),
        (LossKind::Dropped, "/media"),
        (LossKind::Changed, "/structures/0/street"),
        (LossKind::Dropped, "/structures/2"),
        (LossKind::Dropped, "/runs/0/counter/checks"),
        (LossKind::Dropped, "/runs/0/observations/0/media"),
        (LossKind::Dropped, "/runs/1"),
        (LossKind::Dropped, "/runs/1/observations/0"),
    ];
    assert_eq!(losses, expected.map(|(kind, pointer)| (kind, pointer.to_owned())));
}

fn losses(value: Value) -> Vec<Loss> {
    kml::write(&document_of(value), Vec::new()).unwrap().losses
}

/// The survey above with coordinates in `at` that no transverse Mercator projection can invert.
fn with_outlier(at: &str) -> Value {
    let mut value = serde_json::to_value(survey()).unwrap();
    *value.pointer_mut(at).unwrap() = json!([1e12, 1e12]);
    value
}

#[test]
fn a_position_that_cannot_be_transformed_is_reported_as_the_reason() {
    let why =
        "cannot be transformed by EPSG:27700; check its order, its unit and the reference system";
    let reported = |value: Value, pointer: &str| {
        let losses = losses(value);
        let found: Vec<&Loss> = losses.iter().filter(|loss| loss.pointer == pointer).collect();
        assert_eq!(found.len(), 1, "{pointer}: {losses:?}");
        (found[0].message.clone(), found[0].was.clone())
    };
    for at in ["/structures/1", "/locates/0"] {
        let (message, was) = reported(with_outlier(&format!("{at}/position")), at);
        assert_eq!(message, format!("it is not on the map: its position {why}"));
        assert_eq!(was, Some(json!([1_000_000_000_000_u64, 1_000_000_000_000_u64])));
    }
    let value = with_outlier("/structures/1/position");
    let (message, _) = reported(value.clone(), "/pipes/0");
    assert_eq!(
        message,
        "it is not on the map: it has no path, and the position of one of its two structures cannot be transformed"
    );
    assert_eq!(
        reported(value.clone(), "/runs/0").0,
        "a run is part of its observations' placemarks, and none of them is on the map"
    );
    let (message, _) = reported(value, "/runs/0/observations/1");
    assert_eq!(message, "it is not on the map: its pipe has no line on it");
    let (message, _) = reported(serde_json::to_value(survey()).unwrap(), "/runs/1/observations/0");
    assert_eq!(message, "it is not on the map: its pipe is not in the survey");
    let mut value = serde_json::to_value(survey()).unwrap();
    value["pipes"][0]["path"] = json!([[1e12, 1e12], [400_100, 300_000]]);
    assert_eq!(
        reported(value, "/pipes/0").0,
        "it is not on the map: a vertex of its path cannot be transformed"
    );
    let (message, _) = reported(serde_json::to_value(survey()).unwrap(), "/structures/2");
    assert_eq!(message, "its position is not known, so it is not on the map");
}

/// XML 1.0, production 2, has no U+0001 and no U+FFFE.
#[test]
fn characters_that_xml_cannot_hold_are_reported_once_at_their_value() {
    let mut value = serde_json::to_value(survey()).unwrap();
    value["assignment"]["title"] = json!("Mill\u{1}");
    value["pipes"][0]["asset"] = json!("P\u{1}");
    value["runs"][0]["remark"] = json!("wet\u{FFFE}");
    value["runs"][0]["counter"]["zero_text"] = json!("lid\u{1}");
    value["runs"][0]["observations"][1]["remark"] = json!("long\u{1}");
    let found: Vec<(String, Option<Value>, Option<Value>)> = losses(value)
        .into_iter()
        .filter(|loss| loss.message.starts_with("a text has characters that XML cannot hold"))
        .map(|loss| (loss.pointer, loss.was, loss.becomes))
        .collect();
    let expected = [
        ("/assignment/title", "Mill\u{1}", "Mill\u{FFFD}"),
        ("/structures/0/street", "<Mill> \"Lane\" \u{1}", "<Mill> \"Lane\" \u{FFFD}"),
        ("/pipes/0/asset", "P\u{1}", "P\u{FFFD}"),
        ("/runs/0/counter/zero_text", "lid\u{1}", "lid\u{FFFD}"),
        ("/runs/0/remark", "wet\u{FFFE}", "wet\u{FFFD}"),
        ("/runs/0/observations/1/remark", "long\u{1}", "long\u{FFFD}"),
    ];
    assert_eq!(
        found,
        expected.map(|(at, was, becomes)| (at.to_owned(), Some(json!(was)), Some(json!(becomes))))
    );
}

/// The values of rows that are missing from both the KML and the loss report.
fn unreported(document: &Document) -> Vec<String> {
    fn leaves(value: &Value, at: &str, out: &mut Vec<String>) {
        match value {
            Value::Object(object) if !object.is_empty() && !at.ends_with("extensions") => {
                object.iter().for_each(|(key, value)| leaves(value, &format!("{at}/{key}"), out));
            }
            Value::Array(list) if list.iter().any(|item| item.is_object() || item.is_array()) => {
                list.iter()
                    .enumerate()
                    .for_each(|(index, value)| leaves(value, &format!("{at}/{index}"), out));
            }
            _ => out.push(at.to_owned()),
        }
    }
    let (kml, losses) = written(document);
    let (mut all, mut missing) = (Vec::new(), Vec::new());
    leaves(&serde_json::to_value(document).unwrap(), "", &mut all);
    let marks: Vec<&str> = kml.split("<Placemark id=\"").skip(1).collect();
    let occurs = |id: &str, name: &str| {
        let data = format!("<Data name=\"{name}\"");
        marks.iter().any(|mark| mark.starts_with(id) && mark.contains(&data))
    };
    for leaf in all {
        let covers =
            |pointer: &String| leaf == *pointer || leaf.starts_with(&format!("{pointer}/"));
        if losses.iter().any(|(_, pointer)| covers(pointer)) {
            continue;
        }
        let keys: Vec<&str> = leaf.split('/').skip(1).collect();
        let number = |text: &str| text.parse::<usize>().unwrap() + 1;
        let found = match keys.as_slice() {
            ["runs", run, "observations", row, "quantities", _, "value" | "unit"] => {
                occurs(&format!("observations-{}-{}\"", number(run), number(row)), "quantities")
            }
            ["runs", run, "observations", row, rest @ ..] => {
                occurs(&format!("observations-{}-{}\"", number(run), number(row)), &rest.join("."))
            }
            ["runs", run, rest @ ..] => occurs(
                &format!("observations-{}-", number(run)),
                &format!("run.{}", rest.join(".")),
            ),
            [table @ ("structures" | "pipes" | "locates"), row, rest @ ..] => {
                let name = rest.join(".");
                let name = if name == "position" { "position.x".to_owned() } else { name };
                occurs(&format!("{table}-{}\"", number(row)), &name)
            }
            ["obvert" | "$schema" | "id" | "issued"] | ["assignment", "title"] => true,
            _ => false,
        };
        // An object without any value in the KML is covered by the column of its extensions.
        let bare = occurs("", &format!("{}.extensions", keys.last().unwrap()))
            || occurs("", &format!("run.{}.extensions", keys.last().unwrap()));
        if !found && !bare {
            missing.push(leaf);
        }
    }
    missing
}

#[test]
fn every_value_occurs_in_the_kml_or_in_the_report() {
    let mut value = serde_json::to_value(survey()).unwrap();
    value["runs"][0]["observations"][0]["quantities"][1]["extensions"] =
        json!({ "org.example.one": 1 });
    value["runs"][1]["started"] = json!("2026-05-06T09:31:00-05:00");
    value["runs"][1]["method_text"] = json!("by hand");
    value["pipes"][0]["path"] = json!([[400_000, 300_000]]);
    let document = document_of(value);
    assert_eq!(unreported(&document), Vec::<String>::new());
    let (_, losses) = written(&document);
    for pointer in ["/runs/0/observations/0/quantities/1/extensions", "/runs/1", "/pipes/0/path"] {
        assert!(losses.contains(&(LossKind::Dropped, pointer.to_owned())), "{pointer}");
    }
}

/// OGC 07-147r2 allows only WGS 84.
#[test]
fn a_document_without_a_system_is_refused() {
    let mut value = minimal();
    value["structures"] = json!([{ "id": "A", "kind": "manhole", "position": [1, 2] }]);
    let error = kml::write(&document_of(value), Vec::new()).unwrap_err();
    assert!(matches!(error, ConvertError::Refused { .. }));
    assert!(
        error
            .to_string()
            .contains("the document has positions but no `crs`; KML has positions on WGS 84 only"),
        "{error}"
    );
}

proptest! {
    #![proptest_config(cases(16))]
    /// For any document, the file is XML, and every observation and structure is a placemark or a
    /// loss.
    #[test]
    fn every_row_is_drawn_or_lost(document in documents()) {
        let mut document = document;
        document.head.crs = Some("EPSG:4326".parse().unwrap());
        let mut out = Vec::new();
        let report = kml::write(&document, &mut out).unwrap();
        let text = String::from_utf8(out).unwrap();
        let mut reader = quick_xml::Reader::from_str(&text);
        let mut drawn = 0;
        loop {
            match reader.read_event().unwrap() {
                quick_xml::events::Event::Eof => break,
                quick_xml::events::Event::Start(start) if start.name().as_ref() == "Placemark" => drawn += 1,
                _ => {}
            }
        }
        let of_row = |pointer: &str, table: &str| pointer.strip_prefix(table).is_some_and(|rest| !rest.is_empty() && !rest.contains('/'));
        let lost = report.losses.iter().filter(|loss| loss.kind == LossKind::Dropped).filter(|loss| {
            ["/structures/", "/pipes/", "/locates/"].iter().any(|table| of_row(&loss.pointer, table))
                || loss.pointer.split("/observations/").nth(1).is_some_and(|rest| !rest.contains('/'))
        });
        let rows = document.head.structures.len() + document.head.pipes.len() + document.head.locates.len()
            + document.runs.iter().map(|run| run.observations.len()).sum::<usize>();
        prop_assert_eq!(drawn + lost.count(), rows);
        prop_assert_eq!(unreported(&document), Vec::<String>::new());
    }
}
