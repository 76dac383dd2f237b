//! The part `vectors`: single steps of the arithmetic that must be the same in every implementation. Times, ids, joined
//! runs and places along a pipe are also tested through the command.

use std::collections::BTreeSet;

use obvert::check::grading::{GradeExtent, GradeTotals};
use obvert::check::{Checker, Settings};
use obvert::model::lists::GradeScheme;
use obvert::model::number::ClockHour;
use obvert::model::tables::{ClockReading, LengthUnit, QuantityUnit, SectionUnit};
use serde_json::{Value, json};

use crate::manifest;
use crate::support::{obvert_in, status, stderr};

struct Vector {
    id: String,
    kind: String,
    given: Value,
    is: Value,
}

fn vectors(kind: &str) -> Vec<Vector> {
    let manifest = manifest::json("vectors/manifest.json");
    let text = |value: &Value| value.as_str().expect("a text").to_owned();
    let vectors: Vec<Vector> = manifest["cases"]
        .as_array()
        .expect("cases")
        .iter()
        .map(|case| Vector {
            id: text(&case["id"]),
            kind: text(&case["kind"]),
            given: case["given"].clone(),
            is: case["is"].clone(),
        })
        .filter(|vector| vector.kind == kind)
        .collect();
    assert!(!vectors.is_empty(), "no vector of the kind {kind}");
    vectors
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

fn word(value: &Value) -> &str {
    value.as_str().unwrap_or_else(|| panic!("{value} is no text"))
}

#[test]
fn clocks_are_mirrored() {
    for Vector { id, given, is, .. } in vectors("clock-hour") {
        let mirrored = ClockHour::new(number(&given["hour"]))
            .expect("a number")
            .mirrored()
            .map(ClockHour::get);
        assert_eq!(mirrored, is.get("mirrored").map(number), "{id}");
        assert_eq!(mirrored.is_none(), is["valid"] == false, "{id}");
    }
    for Vector { id, given, is, .. } in vectors("clock-arc") {
        let hour = |value: &Value| ClockHour::new(number(value)).expect("a number");
        let arc = ClockReading::Arc(hour(&given["from"]), hour(&given["to"]));
        assert_eq!(
            arc.mirrored(),
            Some(ClockReading::Arc(hour(&is["from"]), hour(&is["to"]))),
            "{id}"
        );
        assert_eq!(arc.hours(), number(&is["hours"]), "{id}");
    }
}

#[test]
fn units_have_their_exact_ratios() {
    let ratio = |of: &Value| number(&of[0]) / number(&of[1]);
    for Vector { id, given, is, .. } in vectors("length-unit") {
        let unit = word(&given["unit"]).parse::<LengthUnit>().expect("a unit");
        assert_eq!(unit.metres(), ratio(&is["metres"]), "{id}");
    }
    for Vector { id, given, is, .. } in vectors("section-unit") {
        let unit = word(&given["unit"]).parse::<SectionUnit>().expect("a unit");
        assert_eq!(unit.millimetres(), ratio(&is["millimetres"]), "{id}");
    }
    for Vector { id, given, is, .. } in vectors("amount") {
        let unit = |key: &str| word(&given[key]).parse::<QuantityUnit>().expect("a unit");
        let factor = unit("from").factor_to(unit("to")).expect("one dimension");
        assert_eq!(number(&given["value"]) * factor, number(&is["value"]), "{id}");
    }
}

fn metres(value: f64, unit: &Value) -> f64 {
    value * word(unit).parse::<LengthUnit>().expect("a unit").metres()
}

/// A scheme with an interval, for a document whose single row is a stretch of grade 5.
fn scheme(interval: &Value) -> GradeScheme {
    let mut scheme = manifest::json("grades/larkmoor-worst.json");
    scheme["rollup"]["interval"] = interval.clone();
    GradeScheme::read(scheme.to_string().as_bytes()).expect("a scheme")
}

#[test]
fn stretches_are_counted_by_the_interval() {
    for Vector { id, given, is, .. } in vectors("stretch") {
        let mut totals = GradeTotals::default();
        let length = metres(number(&given["length"]), &given["unit"]);
        let grade = serde_json::from_value(json!(5)).expect("a grade");
        totals.add(
            grade,
            GradeExtent { at: 0.0, length: Some(length) },
            &scheme(&given["interval"]),
        );
        assert_eq!(is["count"], totals.count, "{id}");
    }
}

/// A run of a pipe on the equator, whose geometry is a hundredth of a degree long: the share of it is the share of the
/// pipe.
fn place(given: &Value) -> Value {
    let mut document = manifest::json("bases/minimal.obvert.json");
    document["crs"] = "EPSG:4326".into();
    document["structures"] = json!([
        { "id": "LM-014", "kind": "manhole", "position": [0, 0] },
        { "id": "LM-015", "kind": "manhole", "position": [0.01, 0] }
    ]);
    document["pipes"] = json!([{ "id": "L-101", "upstream": "LM-014", "downstream": "LM-015", "length": given["length"],
        "length_between": "centres", "path": [[0, 0], [0.01, 0]] }]);
    document["runs"] = json!([{ "id": "R-1", "pipe": "L-101", "direction": given["direction"],
        "counter": { "zero": "other", "zero_text": "a mark", "offset": given["offset"], "reads": given["reads"] },
        "observations": [{ "id": "1", "at": given["at"], "code": "note.photo" }] }]);
    for table in ["media", "locates", "ratings"] {
        document[table] = json!([]);
    }
    document
}

/// How far from the upstream structure the GeoJSON form puts the observation.
fn placed(geojson: &Value, given: &Value) -> f64 {
    let features = geojson["features"].as_array().expect("features");
    let row = features
        .iter()
        .find(|feature| feature["properties"]["table"] == "observations")
        .expect("the row");
    number(&row["geometry"]["coordinates"][0]) / 0.01 * number(&given["length"])
}

#[test]
fn distances_are_measured_from_either_end() {
    let folder = tempfile::tempdir().expect("folder");
    for Vector { id, given, is, .. } in vectors("place") {
        let text = place(&given).to_string();
        let mut out = Vec::new();
        let document =
            obvert::read(text.as_bytes()).unwrap_or_else(|error| panic!("{id}: {error}"));
        obvert::convert::geojson::write(&document, &mut out).expect("geojson");
        std::fs::write(folder.path().join("a.obvert.json"), text).expect("write");
        let output =
            obvert_in(folder.path(), &["convert", "a.obvert.json", "--to", "geojson", "-o", "-"]);
        assert_eq!(status(&output), 0, "{id}: {}", stderr(&output));
        for source in [out, output.stdout] {
            let found = placed(&serde_json::from_slice(&source).expect("json"), &given);
            // Nine decimals of a degree are 2 hundred-thousandths of such a pipe's foot.
            assert!(
                (found - number(&is["from_upstream"])).abs() < 1e-4,
                "{id}: {found}, not {}",
                is["from_upstream"]
            );
        }
    }
}

type Findings = BTreeSet<(String, String)>;

/// What a document has to be found to be: the findings of some rules, and no others of these rules.
struct Judged {
    id: String,
    document: Value,
    rules: &'static [&'static str],
    expected: Findings,
    /// A fact that one of the findings states.
    fact: Option<(&'static str, f64)>,
}

fn one(rule: &str, pointer: &str) -> (String, String) {
    (rule.to_owned(), pointer.to_owned())
}

fn joined(vector: &Vector) -> Judged {
    let run = |id: &str, of: &Value, downstream: bool| {
        json!({
            "id": id, "pipe": "L-101", "direction": if downstream { "downstream" } else { "upstream" },
            "counter": { "zero": if of["offset"] == 0 { "structure-centre" } else { "structure-wall" },
                         "offset": of["offset"], "reads": of["reads"] },
            "surveyed": of["surveyed"]
        })
    };
    let mut document = manifest::json("bases/minimal.obvert.json");
    document["units"]["length"] = vector.given["unit"].clone();
    document["pipes"][0]["length"] = vector.given["length"].clone();
    let mut second = run("R-2", &vector.given["second"], false);
    second["reverse_of"] = "R-1".into();
    second["outcome"] = json!({ "kind": "met" });
    document["runs"] = json!([run("R-1", &vector.given["first"], true), second]);
    for table in ["media", "locates", "ratings"] {
        document[table] = json!([]);
    }
    let gap = number(&vector.is["gap"]);
    // How far each run came is not in a report; the gap that is has to follow from it.
    let came = |of: &Value| number(&of["offset"]) + number(&of["surveyed"]) - number(&of["reads"]);
    let far = ["first", "second"].map(|run| came(&vector.given[run]));
    assert_eq!(far, ["first", "second"].map(|run| number(&vector.is[run])), "{}", vector.id);
    assert!(
        (number(&vector.given["length"]) - far[0] - far[1] - gap).abs() < 1e-9,
        "{}",
        vector.id
    );
    let rule = vector.is.get("rule").map(word);
    Judged {
        id: vector.id.clone(),
        document,
        rules: &["reverse-gap", "reverse-overlap"],
        expected: rule.map(|rule| one(rule, "/runs/1/reverse_of")).into_iter().collect(),
        fact: rule.map(|rule| if rule == "reverse-gap" { ("gap", gap) } else { ("overlap", -gap) }),
    }
}

fn timestamp(vector: &Vector) -> Judged {
    let mut document = manifest::json("bases/minimal.obvert.json");
    document["issued"] = vector.given["text"].clone();
    let mut expected = Findings::new();
    if vector.is["reads"] == false {
        expected.insert(one("text-form", "/issued"));
    } else if vector.is["possible"] == false {
        expected.insert(one("date-invalid", "/issued"));
    }
    Judged {
        id: vector.id.clone(),
        document,
        rules: &["text-form", "date-invalid"],
        expected,
        fact: None,
    }
}

/// Whether the first time is after the second, and the other way round.
fn instants(vector: &Vector) -> [Judged; 2] {
    let order = word(&vector.is["first_is"]);
    let (first, second) = (&vector.given["first"], &vector.given["second"]);
    [(first, second, order == "after"), (second, first, order == "before")].map(
        |(started, finished, after)| {
            let mut document = manifest::json("bases/minimal.obvert.json");
            document["runs"][0]["started"] = started.clone();
            document["runs"][0]["finished"] = finished.clone();
            let expected =
                after.then(|| one("time-order", "/runs/0/finished")).into_iter().collect();
            Judged { id: vector.id.clone(), document, rules: &["time-order"], expected, fact: None }
        },
    )
}

fn ids(vector: &Vector) -> Judged {
    let mut document = manifest::json("bases/minimal.obvert.json");
    document["structures"] = ["first", "second"]
        .map(|key| json!({ "id": vector.given[key], "kind": "manhole" }))
        .into_iter()
        .collect();
    for table in ["pipes", "runs", "media", "locates", "ratings"] {
        document[table] = json!([]);
    }
    let mut expected = Findings::new();
    if vector.is["same"] == true {
        expected.insert(one("duplicate-id", "/structures/1/id"));
    }
    if vector.is["case_clash"] == true {
        expected.insert(one("id-case-clash", "/structures/1/id"));
    }
    Judged {
        id: vector.id.clone(),
        document,
        rules: &["duplicate-id", "id-case-clash"],
        expected,
        fact: None,
    }
}

fn judged() -> Vec<Judged> {
    let mut all: Vec<Judged> = vectors("joined").iter().map(joined).collect();
    all.extend(vectors("timestamp").iter().map(timestamp));
    all.extend(vectors("instants").iter().flat_map(instants));
    all.extend(vectors("ids").iter().map(ids));
    all
}

fn complaint(judged: &Judged, report: &Value, document: u64) -> Option<String> {
    let of_it: Vec<&Value> = report["findings"]
        .as_array()
        .expect("findings")
        .iter()
        .filter(|finding| finding.get("document").and_then(Value::as_u64).unwrap_or(0) == document)
        .filter(|finding| judged.rules.iter().any(|rule| finding["rule"] == *rule))
        .collect();
    let found: Findings =
        of_it.iter().map(|finding| one(word(&finding["rule"]), word(&finding["path"]))).collect();
    if found != judged.expected {
        return Some(format!("{}: found {found:?}, expected {:?}", judged.id, judged.expected));
    }
    let (name, expected) = judged.fact?;
    let stated = number(&of_it[0]["params"][name]);
    ((stated - expected).abs() > 1e-9)
        .then(|| format!("{}: {name} {stated}, expected {expected}", judged.id))
}

#[test]
fn times_ids_and_joined_runs_hold_in_the_library() {
    let checker = Checker::new(Settings::default()).expect("settings");
    let complaints: Vec<String> = judged()
        .iter()
        .filter_map(|judged| {
            let report = checker.check(judged.document.to_string().as_bytes()).expect("json");
            complaint(judged, &serde_json::to_value(report).expect("json"), 0)
        })
        .collect();
    assert!(complaints.is_empty(), "{}", complaints.join("\n"));
}

#[test]
fn times_ids_and_joined_runs_hold_in_the_command() {
    let folder = tempfile::tempdir().expect("folder");
    let judged = judged();
    let names: Vec<String> =
        (0..judged.len()).map(|number| format!("{number:03}.obvert.json")).collect();
    for (name, judged) in names.iter().zip(&judged) {
        std::fs::write(folder.path().join(name), judged.document.to_string()).expect("write");
    }
    let mut arguments = vec!["check", "--format", "json", "--all", "--today", "2026-06-01"];
    arguments.extend(names.iter().map(String::as_str));
    let output = obvert_in(folder.path(), &arguments);
    let report: Value = serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", stderr(&output)));
    let complaints: Vec<String> = (0..)
        .zip(&judged)
        .filter_map(|(number, judged)| complaint(judged, &report, number))
        .collect();
    assert!(complaints.is_empty(), "{}", complaints.join("\n"));
}
