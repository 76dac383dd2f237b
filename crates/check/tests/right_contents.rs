//! Surveys that are unusual but right: no rule about what rows state of a pipe has a finding, and
//! no column is thought to be wrong. The cases are common practice of the trade, no published list.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_check::{Checker, MINIMAL, Settings};
use serde_json::{Value, json};

/// The rules that are tested.
const RULES: [&str; 19] = [
    "change-to-same",
    "clock-against-gravity",
    "clock-column-suspect",
    "column-shifted",
    "combined-code-fits",
    "connection-unit-suspect",
    "deformation-without-crack",
    "dry-after-inflow",
    "flow-control-contradicts",
    "grade-column-suspect",
    "lining-hides-code",
    "lining-not-recorded",
    "loss-too-large",
    "nothing-observed",
    "percent-column-suspect",
    "quantity-exceeds-pipe",
    "quantity-range",
    "remark-contradicts-code",
    "water-contradicts",
];

/// A pipe of one run: changes of the pipe, changes of the run, and its rows between the start and
/// the end.
struct Case(&'static str, Value, Value, Value);

fn level(at: f64, percent: f64) -> Value {
    share(at, "water.level", percent)
}

/// A row with an amount in percent.
fn share(at: f64, code: &str, percent: f64) -> Value {
    json!({"at": at, "code": code, "quantities": [{"value": percent, "unit": "percent"}]})
}

fn silt(at: f64, clock: Value) -> Value {
    json!({"at": at, "code": "deposit.settled", "characterisation": ["fine"], "clock": clock,
        "quantities": [{"value": 10, "unit": "percent"}]})
}

fn connection(at: f64, code: &str, size: f64, unit: &str) -> Value {
    json!({"at": at, "code": code, "clock": {"at": 2},
        "quantities": [{"value": size, "unit": unit}]})
}

/// Deposits and objects, by the clock.
fn deposits() -> Vec<Case> {
    vec![
        Case(
            "a crust hangs at the crown",
            json!({}),
            json!({}),
            json!([
            {"at": 30, "code": "deposit.encrusted", "clock": {"from": 11, "to": 1},
             "quantities": [{"value": 15, "unit": "percent"}]},
            {"at": 40, "code": "deposit.grease", "clock": {"at": 12}, "quantities": [{"value": 5, "unit": "percent"}]}]),
        ),
        Case(
            "silt lies all round the bottom, and from wall to wall",
            json!({}),
            json!({}),
            json!([
                silt(30.0, json!({"from": 3, "to": 9})),
                silt(40.0, json!({"from": 6, "to": 6})),
                silt(50.0, json!({"from": 5.5, "to": 6.5}))
            ]),
        ),
        Case(
            "an object is wedged at the side",
            json!({}),
            json!({}),
            json!([
            {"at": 30, "code": "obstacle.object", "clock": {"at": 9}, "quantities": [{"value": 10, "unit": "percent"}]}]),
        ),
        Case(
            "in a drop pipe the clock has no bottom",
            json!({}),
            json!({}),
            json!([
            {"at": 30, "code": "fitting.drop"}, silt(33.0, json!({"from": 11, "to": 1}))]),
        ),
    ]
}

/// Water.
fn water() -> Vec<Case> {
    vec![
        Case(
            "water cascades at a drop",
            json!({}),
            json!({}),
            json!([
            level(30.0, 60.0), {"at": 30.5, "code": "fitting.drop"}, {"at": 31, "code": "water.dry"}]),
        ),
        Case(
            "a weir, and a surge",
            json!({}),
            json!({}),
            json!([
            level(30.0, 50.0), {"at": 30, "code": "fitting.weir"}, {"at": 30, "code": "water.dry"},
            {"at": 60, "code": "water.dry"}, {"at": 60, "code": "water.surge"}, level(60.5, 70.0)]),
        ),
        Case(
            "a stretch is dry up to a pond",
            json!({}),
            json!({}),
            json!([
            {"at": 30, "to": 50, "continuous": true, "code": "water.dry"}, level(50.0, 20.0)]),
        ),
        Case(
            "dry upstream of an inflow in a run upstream",
            json!({}),
            json!({"direction": "upstream"}),
            json!([
            {"at": 30, "code": "infiltration", "characterisation": ["gushing"]}, {"at": 33, "code": "water.dry"}]),
        ),
        Case(
            "the water leaves through a hole",
            json!({}),
            json!({}),
            json!([
            {"at": 30, "code": "infiltration", "characterisation": ["flowing"]},
            {"at": 32, "code": "hole", "clock": {"at": 6}}, {"at": 34, "code": "water.dry"}]),
        ),
        Case(
            "dripping does not wet the pipe",
            json!({}),
            json!({}),
            json!([
            {"at": 30, "code": "infiltration", "characterisation": ["dripping"]}, {"at": 33, "code": "water.dry"}]),
        ),
        Case(
            "standing water in a sag though the flow is bypassed",
            json!({}),
            json!({"flow_control": "bypassed"}),
            json!([
            {"at": 30, "code": "water.sag", "quantities": [{"value": 150, "unit": "mm"}]}, level(32.0, 75.0)]),
        ),
    ]
}

/// Walls and linings.
fn walls_and_linings() -> Vec<Case> {
    vec![
        Case(
            "a flexible pipe is deformed",
            json!({"material": "pvc"}),
            json!({}),
            json!([share(30.0, "deformation.vertical", 9.0)]),
        ),
        Case(
            "masonry is deformed by its joints",
            json!({"material": "brick", "shape": "egg", "height": 36, "width": 24}),
            json!({}),
            json!([share(30.0, "deformation.vertical", 5.0)]),
        ),
        Case(
            "a new liner in an old pipe, measured oval",
            json!({"lining": "cured in place, 2024"}),
            json!({}),
            json!([
            {"at": 2, "code": "lining.start", "characterisation": ["cured-in-place"]}, share(30.0, "deformation.oval", 4.0),
            {"at": 40, "code": "lining.wrinkled", "quantities": [{"value": 2, "unit": "percent"}]},
            connection(60.0, "connection.reopened", 4.0, "in"), {"at": 198, "code": "lining.finish"},
            {"at": 198.5, "code": "lining.end-loose"}]),
        ),
        Case(
            "a lining in the first half only",
            json!({"material": "brick"}),
            json!({}),
            json!([
            {"at": 50, "code": "lining.blistered"}, {"at": 90, "code": "lining.finish"},
            {"at": 120, "code": "brick.worn"}, {"at": 150, "code": "mortar.soft"}]),
        ),
        Case(
            "a scrap of resin in an unlined pipe, and a patch",
            json!({}),
            json!({}),
            json!([
            share(30.0, "lining.debris", 3.0), {"at": 60, "code": "repair.patch"},
            {"at": 60, "code": "lining.bulged", "quantities": [{"value": 4, "unit": "percent"}]}]),
        ),
        Case(
            "cracks at the crown and the invert",
            json!({}),
            json!({}),
            json!([
            {"at": 30, "code": "crack.longitudinal", "clock": {"at": 12}}, {"at": 30, "code": "crack.longitudinal", "clock": {"at": 6}},
            {"at": 30, "code": "joint.damaged", "joint": true}]),
        ),
        Case(
            "a plastic piece, and another plastic",
            json!({}),
            json!({}),
            json!([
            {"at": 30, "code": "change.material", "characterisation": ["plastic"], "remark": "pvc"},
            {"at": 40, "code": "change.material", "characterisation": ["plastic"], "remark": "polyethylene"},
            {"at": 50, "code": "change.material", "characterisation": ["clayware"]},
            {"at": 60, "code": "change.size", "quantities": [{"value": 10, "unit": "in"}]},
            {"at": 70, "code": "change.size", "quantities": [{"value": 8, "unit": "in"}]}]),
        ),
    ]
}

/// Amounts, remarks and grades.
fn the_rest() -> Vec<Case> {
    vec![
        Case(
            "a new pipe without anything to record",
            json!({"material": "pvc"}),
            json!({"purpose": "acceptance"}),
            json!([]),
        ),
        Case(
            "traces of one percent",
            json!({}),
            json!({}),
            json!([
                share(30.0, "roots.fine", 1.0),
                share(40.0, "roots.fine", 1.0),
                share(50.0, "deposit.grease", 1.0),
                share(60.0, "deposit.grease", 1.0),
                share(70.0, "roots.fine", 1.0),
                share(80.0, "roots.fine", 0.5)
            ]),
        ),
        Case(
            "small drains and large ones",
            json!({}),
            json!({}),
            json!([
                connection(30.0, "connection.saddle", 100.0, "mm"),
                connection(50.0, "connection.saddle", 40.0, "mm"),
                connection(70.0, "connection.saddle", 8.0, "in"),
                connection(90.0, "connection.saddle", 150.0, "mm")
            ]),
        ),
        Case(
            "remarks that describe",
            json!({}),
            json!({}),
            json!([
            {"at": 30, "code": "joint.displaced", "joint": true, "quantities": [{"value": 10, "unit": "mm"}], "remark": "roots through the joint"},
            {"at": 40, "code": "fracture.longitudinal", "clock": {"at": 12}, "remark": "crack"},
            {"at": 50, "code": "deposit.attached", "quantities": [{"value": 5, "unit": "percent"}], "remark": "grease"},
            {"at": 60, "code": "joint.damaged", "joint": true, "remark": "broken"},
            {"at": 70, "code": "roots.mass", "quantities": [{"value": 40, "unit": "percent"}], "remark": "blockage"},
            {"at": 80, "code": "joint.open", "joint": true, "quantities": [{"value": 20, "unit": "mm"}], "remark": "infiltration"},
            {"at": 80, "code": "infiltration", "characterisation": ["dripping"]},
            {"at": 90, "code": "hole", "clock": {"at": 3}, "quantities": [{"value": 50, "unit": "mm"}], "remark": "no damage to the gas main behind it"}]),
        ),
        Case(
            "roots and grease fill most of the pipe",
            json!({}),
            json!({}),
            json!([
                share(30.0, "roots.mass", 60.0),
                share(30.0, "deposit.grease", 30.0),
                share(60.0, "deposit.grease", 94.0),
                share(80.0, "roots.mass", 70.0),
                share(80.3, "roots.mass", 50.0)
            ]),
        ),
        Case(
            "every grade is the middle one",
            json!({}),
            json!({}),
            json!([
                share(30.0, "roots.mass", 20.0),
                share(40.0, "roots.mass", 20.0),
                share(50.0, "roots.mass", 20.0),
                share(60.0, "roots.mass", 20.0),
                share(70.0, "roots.mass", 20.0),
                share(80.0, "roots.mass", 20.0)
            ]),
        ),
        Case(
            "a hole as wide as the pipe, and a slot along it",
            json!({}),
            json!({}),
            json!([
            {"at": 30, "code": "hole", "clock": {"from": 9, "to": 3}, "quantities": [{"value": 8, "unit": "in"}]},
            {"at": 60, "code": "break.missing", "clock": {"at": 6}, "quantities": [{"value": 900, "unit": "mm"}]},
            {"at": 90, "code": "crack.longitudinal", "clock": {"at": 6}, "quantities": [{"value": 4, "unit": "mm"}]}]),
        ),
        Case(
            "water out of a connection into a wet pipe",
            json!({}),
            json!({}),
            json!([
            {"at": 30, "code": "water.inflow", "clock": {"at": 3}, "flow": "surcharged"}, level(33.0, 10.0)]),
        ),
    ]
}

#[test]
fn unusual_but_right_surveys_have_no_findings() {
    let settings = Settings::default().with_today("2026-06-01".parse().unwrap());
    let checker = Checker::new(settings).unwrap();
    let mut wrong = Vec::new();
    for Case(about, pipe, run, rows) in
        [deposits(), water(), walls_and_linings(), the_rest()].into_iter().flatten()
    {
        let mut document: Value = serde_json::from_str(MINIMAL).unwrap();
        document.as_object_mut().unwrap().retain(|key, _| key != "ratings");
        for (key, value) in pipe.as_object().unwrap() {
            document["pipes"][0][key] = value.clone();
        }
        for (key, value) in run.as_object().unwrap() {
            document["runs"][0][key] = value.clone();
        }
        let mut all = vec![json!({"at": 0, "code": "run.start"})];
        all.extend(rows.as_array().unwrap().iter().cloned());
        all.push(json!({"at": 200, "code": "run.finish"}));
        for (number, row) in all.iter_mut().enumerate() {
            row["id"] = json!(number.to_string());
        }
        document["runs"][0]["observations"] = Value::Array(all);
        let report = checker.check(document.to_string().as_bytes()).unwrap();
        let structural = report.findings.iter().filter(|finding| !finding.rule.contains('-'));
        assert_eq!(structural.count(), 0, "{about}");
        for finding in &report.findings {
            if RULES.contains(&&*finding.rule) || finding.rule == "unknown-key" {
                wrong.push(format!(
                    "{about}: {} at {}: {}",
                    finding.rule, finding.subject.path, finding.message
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
