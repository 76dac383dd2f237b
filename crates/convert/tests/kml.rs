//! KML: what is drawn where, and that whatever is not in it is in the loss report.
#![cfg(all(feature = "kml", feature = "geojson", feature = "xml"))]
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod common;

use common::{cases, document_of, documents, minimal};
use obvert_convert::{ConvertError, LossKind, geojson, kml};
use obvert_model::tables::Document;
use proptest::prelude::*;
use serde_json::{Value, json};

fn survey() -> Document {
    let mut value = minimal();
    value["crs"] = json!("EPSG:27700");
    value["units"] = json!({ "length": "m", "section": "mm" });
    value["assignment"] = json!({ "title": "Mill & Race" });
    value["parties"] = json!([{ "id": "p", "name": "Larkmoor Water Department", "role": "owner" }]);
    value["structures"] = json!([
        { "id": "A", "kind": "manhole", "position": [400_000, 300_000], "street": "<Mill> \"Lane\" \u{1}" },
        { "id": "B", "kind": "manhole", "position": [400_100, 300_000] },
        { "id": "C", "kind": "cleanout" }
    ]);
    value["pipes"] = json!([{ "id": "P", "upstream": "A", "downstream": "B", "length": 100, "height": 300 }]);
    value["locates"] = json!([{ "id": "l", "run": "R", "at": 10, "position": [400_010, 300_001], "depth": 2.5 }]);
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
    let from = kml.split(&format!("<Placemark id=\"{id}\">")).nth(1).unwrap_or_else(|| panic!("no {id} in {kml}"));
    from.split("</Placemark>").next().unwrap()
}

/// Elements and their order: OGC 07-147r2, Placemark.
#[test]
fn placemarks_stand_where_geojson_has_them_and_say_what_the_rows_say() {
    let document = survey();
    let (kml, _) = written(&document);
    let mut out = Vec::new();
    geojson::write(&document, &mut out).unwrap();
    let map: Value = serde_json::from_slice(&out).unwrap();
    let mut compared = 0;
    for feature in map["features"].as_array().unwrap() {
        let id = match (feature["properties"]["table"].as_str().unwrap(), feature["id"].as_str().unwrap()) {
            ("structures", "A") => "structures-1",
            ("structures", "B") => "structures-2",
            ("pipes", "P") => "pipes-1",
            ("locates", "l") => "locates-1",
            ("observations", "1") if feature["properties"]["run"] == "R" => "observations-1-1",
            ("observations", "2") => "observations-1-2",
            _ => continue,
        };
        let coordinates = &feature["geometry"]["coordinates"];
        let list =
            if coordinates[0].is_array() { coordinates.as_array().unwrap().clone() } else { vec![coordinates.clone()] };
        let text: Vec<String> = list.iter().map(|position| format!("{},{}", position[0], position[1])).collect();
        let expected = format!("<coordinates>{}</coordinates>", text.join(" "));
        assert!(placemark(&kml, id).contains(&expected), "{id} is not at {expected}: {}", placemark(&kml, id));
        compared += 1;
    }
    assert_eq!(compared, 6);
    assert_eq!(kml.matches("<Placemark ").count(), 6);
    assert!(kml.contains("<name>Mill &amp; Race</name>"));
    let structure = placemark(&kml, "structures-1");
    assert!(structure.starts_with("<name>manhole A</name><styleUrl>#structures</styleUrl><ExtendedData><Data name=\"id\"><value>A</value></Data>"), "{structure}");
    assert!(
        structure.contains("<Data name=\"street\"><value>&lt;Mill&gt; &quot;Lane&quot; \u{FFFD}</value></Data>"),
        "{structure}"
    );
    let point = placemark(&kml, "observations-1-1");
    assert!(point.starts_with("<name>crack.longitudinal at 10 m</name><styleUrl>#observations</styleUrl>"), "{point}");
    for (name, value) in [("at", "10"), ("run.id", "R"), ("pipe.height", "300"), ("quantities", "3 mm; 5 percent")] {
        assert!(point.contains(&format!("<Data name=\"{name}\"><value>{value}</value></Data>")), "{name}: {point}");
    }
    assert!(placemark(&kml, "observations-1-2").contains("<styleUrl>#stretches</styleUrl>"));
    assert!(placemark(&kml, "observations-1-2").contains("<LineString><tessellate>1</tessellate>"));
}

#[test]
fn what_is_left_out_is_said() {
    let (_, losses) = written(&survey());
    let expected = [
        (LossKind::Dropped, "/units"),
        (LossKind::Changed, "/crs"),
        (LossKind::Dropped, "/coding"),
        (LossKind::Dropped, "/assignment"),
        (LossKind::Dropped, "/parties"),
        (LossKind::Dropped, "/media"),
        (LossKind::Changed, "/structures/0"),
        (LossKind::Dropped, "/structures/2"),
        (LossKind::Dropped, "/runs/0/counter/checks"),
        (LossKind::Dropped, "/runs/0/observations/0/media"),
        (LossKind::Dropped, "/runs/1/observations/0"),
    ];
    assert_eq!(losses, expected.map(|(kind, pointer)| (kind, pointer.to_owned())));
}

/// OGC 07-147r2 has WGS 84 and nothing else.
#[test]
fn a_document_without_a_system_is_refused() {
    let mut value = minimal();
    value["structures"] = json!([{ "id": "A", "kind": "manhole", "position": [1, 2] }]);
    let error = kml::write(&document_of(value), Vec::new()).unwrap_err();
    assert!(matches!(error, ConvertError::Refused { .. }));
    assert!(
        error.to_string().contains("the document has positions but no `crs`; KML has positions on WGS 84 only"),
        "{error}"
    );
}

proptest! {
    #![proptest_config(cases(16))]
    /// Whatever stands in a document, the file is XML, every observation is a placemark or a loss, and so is every structure.
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
    }
}
