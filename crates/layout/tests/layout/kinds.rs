//! Values of every kind of cell, through tables and XML and back.

use obvert_convert::LossReport;
use obvert_layout as layout;
use obvert_model::layout::Layout;
use proptest::prelude::*;
use serde_json::{Value, json};

use super::{json, read};

/// A layout with a column of every kind, as a table or as XML. With `comma`, it has a decimal comma
/// and points between thousands.
pub(super) fn every_kind(comma: bool, xml: bool) -> Layout {
    let (decimal, thousands) = if comma { (",", ".") } else { (".", ",") };
    let heading = |name: &str| if xml { format!("S/R/O/@{name}") } else { name.to_owned() };
    let column = |name: &str, to: &str, more: Value| {
        let mut column = json!({"heading": heading(name), "to": to});
        column.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        column
    };
    let seen = |below: &str| format!("runs.observations.{below}");
    let mut layout = json!({
        "layout": "0.1", "id": "k", "version": "1", "title": "k",
        "columns": [
            column("pipe", "pipes.id", json!({})),
            column("up", "pipes.upstream", json!({})),
            column("down", "pipes.downstream", json!({})),
            column("size", "pipes.height", json!({"kind": "amount"})),
            column("length", "pipes.length", json!({"kind": "number", "unit": "ft"})),
            column("laid", "pipes.laid", json!({"kind": "number"})),
            column("between", "pipes.joint_spacing", json!({"kind": "feet-and-inches", "decimals": 3})),
            column("serial", "runs.finished", json!({"kind": "date-time", "pattern": "serial-1904"})),
            column("when", "runs.started", json!({"kind": "date-time", "pattern": "d mmm yyyy h:mm:ss am"})),
            column("way", "runs.direction", json!({"translate": [
                {"text": "with", "value": "downstream"}, {"text": "against", "value": "upstream"}
            ]})),
            column("at", &seen("at"), json!({"kind": "station", "decimals": 3})),
            column("code", &seen("code"), json!({})),
            column("letters", &seen("characterisation"), json!({"separator": "/"})),
            column("much", &seen("quantities.value"), json!({"kind": "number", "unit": "mm"})),
            column("share", &seen("quantities.value"), json!({"kind": "number", "unit": "percent"})),
            column("more", &seen("quantities.value"), json!({"kind": "amount", "place": 2})),
            column("clock", &seen("clock"), json!({"kind": "clock"})),
            column("joint", &seen("joint"), json!({"kind": "yes-no", "translate": [
                {"text": "+", "value": true}, {"text": "-", "value": false}
            ]})),
            column("pictures", &seen("media.id"), json!({"separator": "|"})),
            column("film", &seen("media.id"), json!({"media": "video"})),
            column("into", &seen("media.offset"), json!({"kind": "duration", "pattern": "mm:ss"})),
            column("words", &seen("remark"), json!({}))
        ],
        "units": [{"text": " in", "unit": "in"}, {"text": " mm", "unit": "mm"}, {"text": "%", "unit": "percent"}],
        "fixed": [
            {"to": "id", "value": "x"}, {"to": "issued", "value": "2026-05-06T16:20:00-05:00"},
            {"to": "units.length", "value": "ft"}, {"to": "units.section", "value": "in"},
            {"to": "coding.list", "value": "obvert-terms"}, {"to": "coding.version", "value": "1"},
            {"to": "structures.kind", "value": "manhole"}
        ],
        "made": [{"to": "runs.id", "text": "R {pipes.id}"}],
        "zone": "-05:00"
    });
    if xml {
        layout["xml"] =
            json!({"rows": "S/R/O", "decimal_mark": decimal, "thousands_mark": thousands});
    } else {
        layout["table"] = json!({"encoding": "utf-16", "delimiter": "\t", "decimal_mark": decimal, "thousands_mark": thousands});
    }
    let layout = Layout::read(layout.to_string().as_bytes()).unwrap();
    assert_eq!(layout.problems(), []);
    layout
}

/// A text that is not blank and has no white space that a format would trim.
fn text() -> impl Strategy<Value = String> {
    "[=+@'-]{0,2}[!-~é→\"<&]{0,10}[a-z]"
}

prop_compose! {
    fn observation()(
        step in 0u32..200_000, second in 0u32..100_000, hour in 1u32..=12, to in proptest::option::of(1u32..=12), joint: Option<bool>,
        amount in 0u32..4000, share: bool, more: Option<u16>, letters in proptest::collection::vec("[a-z]{1,3}", 0..3),
        pictures in proptest::collection::vec("[a-z0-9]{1,4}\\.jpg", 0..3), remark in proptest::option::of(text()),
    ) -> (u32, Value) {
        let mut row = json!({
            "code": "infiltration", "clock": to.map_or_else(|| json!({"at": hour}), |to| json!({"from": hour, "to": to})),
            "quantities": [{"value": f64::from(amount) / 8.0, "unit": if share { "percent" } else { "mm" }}]
        });
        if let Some(more) = more {
            let unit = if more.is_multiple_of(2) { "in" } else { "percent" };
            row["quantities"].as_array_mut().unwrap().push(json!({"value": more, "unit": unit}));
        }
        if let Some(joint) = joint {
            row["joint"] = joint.into();
        }
        if !letters.is_empty() {
            row["characterisation"] = letters.into();
        }
        if let Some(remark) = remark {
            row["remark"] = remark.into();
        }
        let mut media: Vec<Value> = vec![json!({"id": "f.mp4", "offset": f64::from(second) / 10.0})];
        let mut seen = std::collections::BTreeSet::new();
        let pictures = pictures.into_iter().filter(|picture| seen.insert(picture.clone()));
        media.splice(0..0, pictures.map(|picture| json!({"id": picture})));
        row["media"] = media.into();
        (step, row)
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(128) })]
    #[test]
    fn values_of_every_kind_round_trip(
        rows in proptest::collection::vec(observation(), 1..6), name in text(), negative: bool, up: bool, comma: bool, xml: bool,
        size in 1u32..4000, length in 1u32..100_000, inches in 1u32..2000, laid in 1850u32..2027,
        day in 1u32..=28, month in 1u32..=12, hour in 0u32..24, minute in 0u32..60, second in 0u32..60,
    ) {
        let layout = every_kind(comma, xml);
        let moment = |year: u32| format!("{year}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}-05:00");
        let mut at = if negative { -300.0 } else { 0.0 };
        let mut media = vec![json!({"id": "f.mp4", "file": "f.mp4", "kind": "video", "run": format!("R {name}")})];
        let mut observations = Vec::new();
        for (index, (step, mut row)) in rows.into_iter().enumerate() {
            at += f64::from(step) / 1000.0;
            row["id"] = (index + 1).to_string().into();
            row["at"] = format!("{at:.3}").parse::<f64>().unwrap().into();
            for one in row["media"].as_array().unwrap() {
                if !media.iter().any(|known| known["id"] == one["id"]) {
                    media.push(json!({"id": one["id"], "file": one["id"], "kind": "photo", "run": format!("R {name}")}));
                }
            }
            observations.push(row);
        }
        let ends = if up { ("B", "A") } else { ("A", "B") };
        let document = json!({
            "obvert": obvert_model::versions::CURRENT, "id": "x", "issued": "2026-05-06T16:20:00-05:00",
            "units": {"length": "ft", "section": "in"}, "coding": {"list": "obvert-terms", "version": "1"},
            "structures": [{"id": "A", "kind": "manhole"}, {"id": "B", "kind": "manhole"}],
            "pipes": [{"id": name, "upstream": "A", "downstream": "B", "height": f64::from(size) / 8.0, "length": f64::from(length) / 8.0,
                       "joint_spacing": format!("{:.9}", f64::from(inches) / 8.0 / 12.0).parse::<f64>().unwrap(), "laid": laid}],
            "media": media,
            "runs": [{"id": format!("R {name}"), "pipe": name, "from": ends.0, "to": ends.1,
                      "direction": if up { "upstream" } else { "downstream" },
                      "started": moment(2025), "finished": moment(2026), "observations": observations}]
        });
        let document = obvert_model::read::document(document.to_string().as_bytes()).unwrap();
        let (bytes, losses) = layout::write(&document, &layout, &[]).unwrap();
        let (survey, report) = read(&bytes, &layout);
        let (back, before) = (json(&survey.document), json(&document));
        // The order of the columns decides whether the pictures or the recording come first, in the
        // table of media and in a row.
        let order_only = |losses: &LossReport| losses.losses.iter().all(|loss| loss.pointer.starts_with("/media"));
        prop_assert!(order_only(&losses), "{:#?}\n{}", losses.losses, String::from_utf8_lossy(&bytes));
        prop_assert!(report.losses.is_empty(), "{report:#?}");
        prop_assert_eq!(&back["pipes"], &before["pipes"]);
        prop_assert_eq!(&back["runs"], &before["runs"]);
        prop_assert_eq!(losses.is_empty(), back == before, "{:#?}", losses.losses);
    }
}
