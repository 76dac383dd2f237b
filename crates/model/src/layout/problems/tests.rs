//! Layouts with mistakes.

use super::*;

const EXAMPLE: &str = include_str!("../../../data/examples/layout.json");

fn said(change: impl Fn(&mut serde_json::Value)) -> Vec<String> {
    let mut all: serde_json::Value = serde_json::from_str(EXAMPLE).unwrap();
    change(&mut all);
    let layout = Layout::read(all.to_string().as_bytes()).unwrap();
    layout.problems().iter().map(ToString::to_string).collect()
}

#[test]
fn the_example_makes_sense() {
    assert_eq!(said(|_| ()), Vec::<String>::new());
}

#[test]
fn every_label_of_the_encoding_standard_is_known() {
    for label in [
        "utf-8",
        "UTF8",
        "windows-1250",
        "cp1252",
        "latin1",
        "macintosh",
        "shift_jis",
        "gb18030",
        "utf-16be",
    ] {
        assert_eq!(
            said(|l| l["table"]["encoding"] = label.into()),
            Vec::<String>::new(),
            "{label}"
        );
    }
    // The label of the `replacement` encoding, which cannot be decoded.
    assert_eq!(said(|l| l["table"]["encoding"] = "hz-gb-2312".into()).len(), 1);
}

#[test]
fn each_mistake_is_reported_with_its_pointer() {
    type Change = fn(&mut serde_json::Value);
    let cases: [(Change, &str); 25] = [
        (
            |l| l["table"]["encoding"] = "windows-1253x".into(),
            "/table/encoding: \"windows-1253x\" is not a label of an encoding; did you mean \"windows-1253\"?",
        ),
        (
            |l| l["columns"][0]["pattern"] = "dd".into(),
            "/columns/0/pattern: text takes no pattern; remove it",
        ),
        (|l| l["table"]["sheet"] = "Runs/May".into(), "/table/sheet: not a name of a sheet"),
        (
            |l| l["columns"][0]["to"] = "pipes.idd".into(),
            "/columns/0/to: pipes has no field \"idd\"; did you mean \"pipes.id\"?",
        ),
        (
            |l| l["columns"][1]["heading"] = l["columns"][0]["heading"].clone(),
            "/columns/1/heading: the heading",
        ),
        (
            |l| l["columns"][0]["to"] = "media.id".into(),
            "/columns/0/to: media.id is not a field of a pipe",
        ),
        (
            |l| l["columns"][0]["kind"] = "station".into(),
            "/columns/0/kind: pipes.id cannot hold cells of the kind station",
        ),
        (
            |l| l["columns"][0]["drop"] = "no place".into(),
            "/columns/0: \"Pipe\" has more than one field",
        ),
        (
            |l| l["columns"][2]["translate"][0]["value"] = "down".into(),
            "/columns/2/translate/0/value: \"down\" is not one of",
        ),
        (
            |l| l["table"]["thousands_mark"] = ".".into(),
            "/table/thousands_mark: the same as the decimal mark",
        ),
        (
            |l| l["table"]["delimiter"] = ";;".into(),
            "/table/delimiter: expected one ASCII character",
        ),
        (
            |l| l["stretches"]["finish"] = "end".into(),
            "/stretches/finish: \"end\" must contain one #",
        ),
        (|l| l["made"][0]["text"] = "{pipes.id".into(), "/made/0/text: \"{pipes.id\" has a brace"),
        (|l| l["table"]["heading_row"] = 0.into(), "/table/heading_row: rows are counted from 1"),
        (
            |l| l["columns"][0]["heading"] = "Pipe\nno".into(),
            "/columns/0/heading: \"Pipe\\nno\" has more lines",
        ),
        (|l| l["xml"] = serde_json::json!({"rows": "Works/Note"}), ": set either table (how"),
        (
            |l| {
                l.as_object_mut().unwrap().remove("table");
                l["xml"] = serde_json::json!({"rows": "Works/Line/Note"});
            },
            "/columns/0/heading: expected the path of an attribute, such as Works/Line/Note/@name",
        ),
        (
            |l| l["columns"][5]["unit"] = "percent".into(),
            "/columns/5/unit: percent is not a unit of length",
        ),
        (
            |l| l["columns"][0]["unit"] = "mm".into(),
            "/columns/0/unit: the numbers of this field have no unit",
        ),
        (
            |l| l["columns"][1]["kind"] = "date-time".into(),
            "/columns/1: date and time need a pattern with both",
        ),
        (
            |l| {
                l["columns"][5]["unit"] = "mm".into();
                l["fixed"].as_array_mut().unwrap().retain(|fixed| fixed["to"] != "units.length");
            },
            "/columns/5: lengths in another unit are converted to units.length",
        ),
        (
            |l| {
                let columns = l["columns"].as_array_mut().unwrap();
                columns.insert(0, serde_json::json!({"heading": "On", "to": "runs.finished"}));
                columns.insert(
                    1,
                    serde_json::json!({"heading": "At what time", "to": "runs.finished"}),
                );
            },
            "/columns/1/to: /columns/0 already maps to runs.finished; a date and a time of day can share it",
        ),
        (
            |l| {
                let column = serde_json::json!({"heading": "J", "to": "runs.observations.joint"});
                l["columns"].as_array_mut().unwrap().insert(0, column);
            },
            "/columns/0/kind: runs.observations.joint cannot hold cells of the kind text; use yes-no, with its words in translate",
        ),
        (|l| l["zone"] = "CST".into(), "/zone: expected an offset from UTC"),
        (
            |l| l["codes"]["columns"][0] = "Sen".into(),
            "/codes/columns/0: the layout has no column \"Sen\"",
        ),
    ];
    for (change, start) in cases {
        let said = said(change);
        assert!(said.iter().any(|message| message.starts_with(start)), "{start}: {said:?}");
    }
}

#[test]
fn missing_required_fields_are_reported() {
    let said = said(|l| l["fixed"] = serde_json::json!([]));
    for path in ["issued", "units.length", "units.section", "coding.list", "structures.kind"] {
        assert!(said.iter().any(|message| message.contains(path)), "{path}: {said:?}");
    }
}

/// RFC 3339 section 5.6, `time-offset`.
#[test]
fn offsets_are_those_of_rfc_3339() {
    assert!(["Z", "+00:00", "-05:00", "+23:59"].into_iter().all(is_offset));
    assert!(!["", "CST", "-5:00", "-05:60", "+24:00", "05:00"].into_iter().any(is_offset));
}
