//! Numeric facts. They are computed here by the formulas in the text of the rule, in doubles and
//! without rounding, and compared with the finding to a part in 10⁹.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_check::{Checker, Finding, MINIMAL, Settings};
use serde_json::{Value, json};

/// The foot, in metres: exactly 0.3048 (international yard and pound agreement of 1959).
const FOOT: f64 = 0.3048;

/// The only finding of a rule on the small survey with a patch.
fn found(rule: &str, patch: &Value) -> Finding {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    let patch: json_patch::Patch = serde_json::from_value(patch.clone()).expect("a patch");
    json_patch::patch(&mut document, &patch).expect("a patch that fits");
    let checker = Checker::new(Settings::default()).expect("settings");
    let report = checker.check(document.to_string().as_bytes()).expect("json");
    let mut found: Vec<Finding> =
        report.findings.into_iter().filter(|finding| finding.rule == rule).collect();
    assert_eq!(found.len(), 1, "{rule}: {found:?}");
    found.remove(0)
}

#[track_caller]
fn assert_fact(finding: &Finding, name: &str, expected: f64) {
    let stated = finding.params[name].as_f64().expect("a number");
    assert!(
        (stated - expected).abs() <= 1e-9 * expected.abs(),
        "{name}: {stated}, expected {expected}"
    );
}

/// Over the whole run: 200 ft from 09:31 to 09:33. Both are in whole minutes, so the time may have
/// been 180 s.
#[test]
fn the_speed_has_the_rounding_of_the_times() {
    let finding = found(
        "camera-speed",
        &json!([{ "op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T09:33:00-05:00" }]),
    );
    assert_eq!(finding.subject.path, "/runs/0/finished");
    assert_fact(&finding, "metres_per_minute", 200.0 * FOOT / (120.0 + 60.0) * 60.0);
}

/// A fraction of a second shows that a time was not truncated to whole minutes.
#[test]
fn times_with_a_fraction_are_not_rounded() {
    let finding = found(
        "camera-speed",
        &json!([{ "op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T09:33:00.5-05:00" }]),
    );
    assert_fact(&finding, "metres_per_minute", 200.0 * FOOT / 120.5 * 60.0);
}

/// By the video: 64.4 ft in 120 s, with offsets truncated to whole seconds.
#[test]
fn the_speed_by_the_video_has_the_rounding_of_the_offsets() {
    let patch =
        json!([{ "op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 250 }]);
    let finding = found("camera-speed", &patch);
    assert_eq!(finding.subject.path, "/runs/0/observations/4/at");
    assert_fact(&finding, "metres_per_minute", (96.3 - 31.9) * FOOT / (120.0 + 1.0) * 60.0);
}

/// No time passed, and the divisor is at least one second.
#[test]
fn a_speed_without_a_time_is_over_a_second() {
    let time = "2026-05-06T09:31:05-05:00";
    let finding = found(
        "camera-speed",
        &json!([
            { "op": "replace", "path": "/runs/0/started", "value": time },
            { "op": "replace", "path": "/runs/0/finished", "value": time },
        ]),
    );
    assert_fact(&finding, "metres_per_minute", 200.0 * FOOT * 60.0);
}

/// Eight distances of 5.7 ft where pipes are 4 ft long: 1.425 lengths, 0.425 off a whole number.
#[test]
fn the_mean_of_the_joints_is_not_rounded() {
    let rows: Vec<Value> = (0..9)
        .map(|row| json!({ "id": row.to_string(), "at": f64::from(row) * 5.7, "code": "joint.displaced", "joint": true }))
        .collect();
    let finding = found(
        "joint-spacing-irregular",
        &json!([{ "op": "replace", "path": "/runs/0/observations", "value": rows }]),
    );
    assert_fact(&finding, "mean", 5.7 / 4.0 - 1.0);
    assert!(
        finding.message.contains("off by 0.43 of a length")
            || finding.message.contains("off by 0.42 of a length")
    );
}

/// Converted lengths, and differences of recorded numbers.
#[test]
fn lengths_are_not_rounded() {
    let replace =
        |path: &str, value: Value| json!([{ "op": "replace", "path": path, "value": value }]);
    let finding = found("run-longer-than-pipe", &replace("/pipes/0/length", json!(190.123_456_7)));
    assert_fact(&finding, "length", 190.123_456_7);
    let finding = found(
        "gradient-below-minimum",
        &replace("/pipes/0/inverts/downstream", json!(640.123_456)),
    );
    assert_fact(&finding, "percent", (640.5 - 640.123_456) / 200.0 * 100.0);
    let finding = found(
        "quantity-range",
        &replace(
            "/runs/0/observations/5/quantities/0",
            json!({ "value": 148.123_456, "unit": "percent" }),
        ),
    );
    assert_fact(&finding, "amount", 148.123_456);
}
