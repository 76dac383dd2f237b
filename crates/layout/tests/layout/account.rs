//! The loss report of a conversion through a layout: each value before and after, the actual
//! reason, and added values kept apart from lost ones.

use obvert_convert::{Loss, LossKind, LossReport, recode};
use obvert_layout as layout;
use obvert_model::layout::Layout;
use obvert_model::lists::CodeList;
use obvert_model::tables::Document;
use proptest::prelude::*;
use serde_json::{Value, json};

use super::{A, B, a, b, json, read};

fn document(value: &Value) -> Document {
    obvert_model::read::document(value.to_string().as_bytes()).unwrap()
}

#[track_caller]
fn at<'r>(report: &'r LossReport, pointer: &str) -> &'r Loss {
    let found = report.losses.iter().find(|loss| loss.pointer == pointer);
    found.unwrap_or_else(|| panic!("nothing at {pointer}: {:#?}", report.losses))
}

/// 8 in is 203.2 mm (25.4 mm exactly), 212.4 ft is 64.73952 m (0.3048 m exactly), and office B
/// writes whole millimetres and centimetres.
#[test]
fn changed_values_are_reported_before_and_after() {
    let (survey, _) = read(A, &a());
    let (translated, _) =
        recode::document(&survey.document, CodeList::obvert_terms(), CodeList::en_13508_2())
            .unwrap();
    let (_, losses) = layout::write(&translated, &b(), &[]).unwrap();
    for (pointer, was, becomes) in [
        ("/units/length", json!("ft"), json!("m")),
        ("/pipes/0/height", json!(203.2), json!(203)),
        ("/pipes/0/length", json!(64.739_52), json!(64.74)),
        ("/language", json!("en"), json!("de")),
        (
            "/runs/0/observations/3/quantities/0",
            json!({"value": 4, "unit": "in"}),
            json!({"value": 101.6, "unit": "mm"}),
        ),
    ] {
        let loss = at(&losses, pointer);
        assert_eq!(
            (loss.kind, &loss.was, &loss.becomes),
            (LossKind::Changed, &Some(was), &Some(becomes)),
            "{pointer}"
        );
    }
    // An amount in percent, where the code list requires a length.
    let loss = at(&losses, "/runs/1/observations/3/quantities/0");
    assert!(loss.message.contains("takes an amount in percent here"), "{}", loss.message);
    assert_eq!(loss.was, Some(json!({"value": 80, "unit": "percent"})));
}

#[test]
fn an_unmapped_column_is_reported_cell_by_cell() {
    let mut layout = serde_json::to_value(a()).unwrap();
    let column = layout["columns"]
        .as_array_mut()
        .unwrap()
        .iter_mut()
        .find(|column| column["heading"] == "Comment");
    let column = column.unwrap().as_object_mut().unwrap();
    column.remove("to");
    column.insert("drop".to_owned(), "for the office alone".into());
    let layout = Layout::read(layout.to_string().as_bytes()).unwrap();
    let (survey, report) = read(A, &layout);
    let dropped: Vec<&Loss> =
        report.losses.iter().filter(|loss| loss.kind == LossKind::Dropped).collect();
    let of = |loss: &Loss| {
        let place = loss.place.as_ref().unwrap();
        (
            place.line,
            place.column,
            place.heading.clone(),
            loss.was.clone().unwrap(),
            loss.pointer.clone(),
        )
    };
    let comment = |line, text: &str, pointer: &str| {
        (line, Some(21), Some("Comment".to_owned()), Value::from(text), pointer.to_owned())
    };
    // All remarks of the file, collected by eye.
    assert_eq!(
        dropped.into_iter().map(of).collect::<Vec<_>>(),
        [
            comment(4, "hairline, dry", "/runs/0/observations/2"),
            comment(5, "active", "/runs/0/observations/3"),
            comment(7, "at joint, \"hair\" roots", "/runs/0/observations/4"),
            comment(9, "sag", "/runs/0/observations/6"),
            comment(16, "cannot pass – café side", "/runs/1/observations/3"),
            comment(17, "try from LM-016", "/runs/1/observations/4"),
            comment(21, "met first run", "/runs/2/observations/3"),
        ]
    );
    assert!(survey.document.runs[0].observations.iter().all(|row| row.remark.is_none()));
}

#[test]
fn each_row_of_a_table_without_a_column_is_reported() {
    let mut value = json(&read(A, &a()).0.document);
    value["equipment"] = json!([{"id": "E1", "kind": "crawler"}, {"id": "E2", "kind": "push-rod"}]);
    let (_, losses) = layout::write(&document(&value), &a(), &[]).unwrap();
    let messages: Vec<_> = losses
        .losses
        .iter()
        .map(|loss| (loss.kind, loss.pointer.as_str(), loss.was.clone()))
        .collect();
    assert_eq!(
        messages,
        [
            (LossKind::Dropped, "/equipment/0", Some(value["equipment"][0].clone())),
            (LossKind::Dropped, "/equipment/1", Some(value["equipment"][1].clone()))
        ]
    );
}

/// The code points are those of the Unicode standard. Windows-1252 has the en dash, ISO 8859-1 does
/// not (WHATWG Encoding standard).
#[test]
fn a_character_outside_the_encoding_is_named() {
    let c =
        Layout::read(include_bytes!("../../../../examples/layouts/office-c.layout.json")).unwrap();
    let xml = include_bytes!("../../../../examples/layouts/office-c.xml").as_slice();
    for (source, layout, remark, reason, becomes) in [
        (
            B,
            b(),
            "Riss – siehe → Bild",
            "iso-8859-1, which does not have '–' (U+2013), '→' (U+2192)",
            "Riss ? siehe ? Bild",
        ),
        (
            A,
            a(),
            "crack – see → photo →",
            "windows-1252, which does not have '→' (U+2192)",
            "crack – see ? photo ?",
        ),
        (xml, c, "a\u{1}b", "XML cannot hold U+0001", "a\u{fffd}b"),
    ] {
        let mut value = json(&read(source, &layout).0.document);
        let pointer =
            if layout.xml.is_some() { "/runs/0/operator" } else { "/runs/0/observations/0/remark" };
        match layout.xml.is_some() {
            true => {
                let parties = value["parties"].as_array_mut().unwrap();
                parties.push(json!({"id": remark, "name": remark, "role": "operator"}));
                value["runs"][0]["operator"] = remark.into();
            }
            false => value["runs"][0]["observations"][0]["remark"] = remark.into(),
        }
        let (_, losses) = layout::write(&document(&value), &layout, &[]).unwrap();
        let loss = at(&losses, pointer);
        assert!(loss.message.ends_with(reason), "{}", loss.message);
        assert_eq!((&loss.was, &loss.becomes), (&Some(remark.into()), &Some(becomes.into())));
    }
}

#[test]
fn an_offset_into_a_recording_of_another_name_is_reported_with_its_reason() {
    let text =
        json(&read(A, &a()).0.document).to_string().replace("\"L-101.mp4\"", "\"film 7.mp4\"");
    let (_, losses) =
        layout::write(&document(&serde_json::from_str(&text).unwrap()), &a(), &[]).unwrap();
    let loss = at(&losses, "/runs/0/observations/2/media/2");
    assert_eq!(loss.was, Some(json!({"id": "film 7.mp4", "offset": 150})));
    // The same reason applies to every recording, so it can be reported once.
    let message = "offsets of the layout heron-sheets refer to {runs.id}.mp4, and this recording has another name, so the table cannot refer to \
                   it";
    assert_eq!(loss.message, message);
    // The picture next to it comes back; no row names the recording itself.
    assert!(!losses.losses.iter().any(|loss| loss.pointer == "/runs/0/observations/2/media/0"));
    let media = losses.losses.iter().find(|loss| loss.pointer.starts_with("/media/")).unwrap();
    assert!(media.message.starts_with("no row of the table names it"), "{}", media.message);
    // A kind of media without a column or pattern.
    let mut value = json(&read(A, &a()).0.document);
    let note = json!({"id": "note.pdf", "file": "note.pdf", "kind": "document", "run": "L-101"});
    value["media"].as_array_mut().unwrap().push(note);
    value["runs"][0]["observations"][0]["media"]
        .as_array_mut()
        .unwrap()
        .push(json!({"id": "note.pdf"}));
    let (_, losses) = layout::write(&document(&value), &a(), &[]).unwrap();
    let loss = at(&losses, "/runs/0/observations/0/media/1");
    assert!(
        loss.message.ends_with("has no column for media of the kind document"),
        "{}",
        loss.message
    );
}

/// Added values are reported separately: those that only explain the rest or follow from it, and
/// those that were never recorded.
#[test]
fn added_values_are_losses_only_if_they_were_never_recorded() {
    let (survey, report) = read(A, &a());
    assert!(!report.is_empty() && !report.loses(), "{report:#?}");
    assert_eq!(at(&report, "/issued").becomes, Some("2026-05-06T13:15:00-05:00".into()));
    let value = json(&survey.document);
    let without = |change: &dyn Fn(&mut Value)| {
        let mut value = value.clone();
        change(&mut value);
        layout::write(&document(&value), &a(), &[]).unwrap().1
    };
    let cut = |value: &mut Value, key: &str| {
        value.as_object_mut().unwrap().remove(key).unwrap();
    };
    for (pointer, kind, becomes, report) in [
        ("/language", LossKind::Defaulted, json!("en"), without(&|value| cut(value, "language"))),
        (
            "/runs/0/outcome",
            LossKind::Defaulted,
            json!({"kind": "reached"}),
            without(&|value| cut(&mut value["runs"][0], "outcome")),
        ),
        (
            "/pipes/1/shape",
            LossKind::Changed,
            json!("circular"),
            without(&|value| cut(&mut value["pipes"][1], "shape")),
        ),
        // It contains grades, which are then attributed to the scheme.
        (
            "/grading",
            LossKind::Changed,
            json!({"scheme": "obvert-grades", "version": "1"}),
            without(&|value| cut(value, "grading")),
        ),
        (
            "/grading",
            LossKind::Defaulted,
            json!({"scheme": "obvert-grades", "version": "1"}),
            without(&|value| {
                cut(value, "grading");
                for run in value["runs"].as_array_mut().unwrap() {
                    for row in run["observations"].as_array_mut().unwrap() {
                        row.as_object_mut().unwrap().remove("grades");
                    }
                }
            }),
        ),
    ] {
        assert_eq!(report.losses.len(), 1, "{:#?}", report.losses);
        let loss = at(&report, pointer);
        assert_eq!(
            (loss.kind, &loss.becomes, &loss.was),
            (kind, &Some(becomes), &None),
            "{pointer}"
        );
        assert_eq!(report.loses(), kind != LossKind::Defaulted);
    }
}

/// Returns whether `whole` contains every value of `part`.
fn holds(whole: &Value, part: &Value) -> bool {
    match (whole, part) {
        (Value::Object(whole), Value::Object(part)) => {
            part.iter().all(|(key, value)| whole.get(key).is_some_and(|other| holds(other, value)))
        }
        (Value::Array(whole), Value::Array(part)) => {
            part.iter().all(|value| whole.iter().any(|other| holds(other, value)))
        }
        _ => whole == part || whole.as_f64().is_some_and(|number| Some(number) == part.as_f64()),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(64) })]
    /// For any values left out of a survey: it comes back unchanged exactly if the report is empty,
    /// and complete if nothing is lost.
    #[test]
    fn the_report_is_empty_exactly_when_the_survey_comes_back(picks in proptest::collection::vec(any::<proptest::sample::Index>(), 1..4), of_b: bool) {
        const CUTS: [&str; 14] = [
            "/language", "/grading", "/pipes/0/shape", "/pipes/1/material", "/pipes/0/length", "/pipes/0/size_basis", "/runs/0/started",
            "/runs/1/outcome", "/runs/0/surveyed", "/runs/0/operator", "/runs/2/reverse_of", "/runs/0/observations/2/clock",
            "/runs/0/observations/2/media", "/parties/0/role",
        ];
        let (source, layout) = if of_b { (B, b()) } else { (A, a()) };
        let mut value = json(&read(source, &layout).0.document);
        for pick in picks {
            let (above, key) = CUTS[pick.index(CUTS.len())].rsplit_once('/').unwrap();
            if let Some(object) = value.pointer_mut(above).and_then(Value::as_object_mut) {
                object.remove(key);
            }
        }
        let before = document(&value);
        let (bytes, losses) = layout::write(&before, &layout, &[]).unwrap();
        // A table without the date of its last row provides no date of issue: nothing comes back
        // then, which is a loss.
        let back = layout::read(&bytes, "t.csv", &layout, &[]).map(|(survey, _)| json(&survey.document)).unwrap_or_default();
        let before = json(&before);
        prop_assert_eq!(losses.is_empty(), back == before, "{:#?}", losses.losses);
        prop_assert!(losses.loses() || holds(&back, &before), "{:#?}", losses.losses);
    }
}
