//! The profiles in `examples/profiles`: each accepts the survey that was made for it and rejects
//! the others for known reasons. Also profiles that are drafted from accepted surveys.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use std::collections::BTreeMap;

use serde_json::{Value, json};
use support::{obvert, obvert_in, read, root, status, stderr, stdout};

const TODAY: &str = "2026-06-15";

fn report(survey: &str, profile: &str) -> Value {
    let (survey, profile) =
        (format!("examples/data/{survey}"), format!("examples/profiles/{profile}.profile.json"));
    let output =
        obvert(&["check", &survey, "--profile", &profile, "--today", TODAY, "--format", "json"]);
    serde_json::from_str(&stdout(&output))
        .unwrap_or_else(|error| panic!("{error}: {}", stderr(&output)))
}

/// The number of findings of each rule.
fn fired(report: &Value) -> BTreeMap<String, u64> {
    let rules = report["rules"].as_array().expect("rules");
    rules
        .iter()
        .map(|rule| (rule["rule"].as_str().unwrap().to_owned(), rule["total"].as_u64().unwrap()))
        .collect()
}

#[test]
fn profiles_are_valid() {
    for entry in std::fs::read_dir(root().join("examples/profiles")).expect("profiles") {
        let path = entry.expect("entry").path();
        let output = obvert(&["profile", "check", path.to_str().unwrap(), "--today", TODAY]);
        assert_eq!(status(&output), 0, "{}", stdout(&output));
        assert!(stdout(&output).contains("no mistakes") && stdout(&output).contains("sha-256:"));
    }
}

#[test]
fn each_survey_passes_the_profile_that_it_was_made_for() {
    for (survey, profile) in [
        ("larkmoor.obvert.json", "larkmoor-water"),
        ("morvelde.obvert.json", "morvelde-drainage"),
        ("osier-9.obvert.json", "house-drain-sale"),
    ] {
        let report = report(survey, profile);
        assert_eq!(report["findings"], json!([]), "{survey}");
        assert_eq!(report["not_run"], Value::Null, "{survey}");
        assert_eq!(report["profile"]["id"], profile);
        assert!(report["profile"]["digest"].as_str().unwrap().starts_with("sha-256:"));
    }
}

#[test]
fn each_survey_is_rejected_by_the_other_profiles_for_known_reasons() {
    let reasons = |survey: &str, profile: &str, expected: &[(&str, u64)]| {
        let expected: BTreeMap<String, u64> =
            expected.iter().map(|(rule, times)| ((*rule).to_owned(), *times)).collect();
        assert_eq!(fired(&report(survey, profile)), expected, "{survey} under {profile}");
    };
    // Codes, units, systems and ids of another office; no photos of connections; grades that this
    // office assigns itself.
    reasons(
        "larkmoor.obvert.json",
        "morvelde-drainage",
        &[
            ("code-list-not-allowed", 1),
            ("crs-not-allowed", 1),
            ("required-field-missing", 4),
            ("forbidden-field-present", 239),
            ("observation-media-missing", 19),
            ("pattern-mismatch", 39),
            ("unit-not-allowed", 2),
            ("value-not-allowed", 66),
            ("vertical-not-allowed", 1),
        ],
    );
    // A crawler in a street, before rehabilitation and not before a sale.
    reasons(
        "larkmoor.obvert.json",
        "house-drain-sale",
        &[
            ("forbidden-field-present", 2),
            ("graded-media-missing", 2),
            ("observation-media-missing", 19),
            ("value-not-allowed", 21),
        ],
    );
    reasons(
        "morvelde.obvert.json",
        "larkmoor-water",
        &[
            ("code-list-not-allowed", 1),
            ("crs-not-allowed", 1),
            ("required-field-missing", 10),
            ("pattern-mismatch", 6),
            ("unit-not-allowed", 2),
            ("value-not-allowed", 2),
            ("vertical-not-allowed", 1),
        ],
    );
    reasons(
        "morvelde.obvert.json",
        "house-drain-sale",
        &[("code-list-not-allowed", 1), ("required-field-missing", 1), ("value-not-allowed", 4)],
    );
    reasons(
        "osier-9.obvert.json",
        "larkmoor-water",
        &[("required-field-missing", 9), ("pattern-mismatch", 4)],
    );
    reasons(
        "osier-9.obvert.json",
        "morvelde-drainage",
        &[
            ("code-list-not-allowed", 1),
            ("required-field-missing", 3),
            ("forbidden-field-present", 3),
            ("pattern-mismatch", 4),
            ("unit-not-allowed", 2),
            ("value-not-allowed", 3),
        ],
    );
}

/// Findings on a field that is missing everywhere are folded and hide no other field.
#[test]
fn findings_fold_by_field() {
    let folder = tempfile::tempdir().expect("folder");
    let profile = json!({ "profile": "0.1", "id": "p", "version": "1", "title": "t", "fields": [
        { "path": "runs.observations.remark", "demand": "required" }, { "path": "runs.purpose", "demand": "required" } ] });
    let file = folder.path().join("p.json");
    std::fs::write(&file, profile.to_string()).unwrap();
    let output = obvert(&[
        "check",
        "examples/data/osier-9.obvert.json",
        "--profile",
        file.to_str().unwrap(),
    ]);
    let text = stdout(&output);
    assert_eq!(status(&output), 1);
    assert_eq!(text.matches("runs.observations.remark is missing").count(), 3, "{text}");
    assert_eq!(text.matches("runs.purpose is missing").count(), 1, "{text}");
    assert!(
        text.contains("and 3 more of required-field-missing") && text.contains("7 errors"),
        "{text}"
    );
    assert!(text.contains("checked against the profile p 1, sha-256:"), "{text}");
}

/// The command line overrides the profile, which overrides the catalogue.
#[test]
fn the_command_line_overrides_the_profile() {
    let run = |more: &[&str]| {
        let base = [
            "check",
            "examples/data/osier-9.obvert.json",
            "--profile",
            "examples/profiles/larkmoor-water.profile.json",
        ];
        status(&obvert(&[&base[..], more].concat()))
    };
    assert_eq!(run(&[]), 1);
    assert_eq!(
        run(&["--severity", "required-field-missing=off", "--severity", "pattern-mismatch=note"]),
        0
    );
    assert_eq!(
        run(&[
            "--severity",
            "required-field-missing=off",
            "--severity",
            "pattern-mismatch=note",
            "--deny",
            "note"
        ]),
        1
    );
}

#[test]
fn problems_of_a_profile_have_a_location() {
    let folder = tempfile::tempdir().expect("folder");
    let judge = |text: &str| {
        std::fs::write(folder.path().join("p.json"), text).unwrap();
        let output =
            obvert_in(folder.path(), &["profile", "check", "p.json", "--today", "2026-06-01"]);
        (status(&output), stdout(&output) + &stderr(&output))
    };
    let head = "{\"profile\": \"0.1\", \"id\": \"p\", \"version\": \"1\", \"title\": \"t\"";
    assert_eq!(judge(&format!("{head}}}")).0, 0);
    let (code, text) = judge(&format!(
        "{head},\n \"fields\": [{{\"path\": \"runs.opperator\", \"demand\": \"required\"}}]}}"
    ));
    assert_eq!(code, 1);
    assert!(
        text.contains("p.json:2:22: /fields/0/path: runs has no field \"opperator\"; did you mean \"runs.operator\"?"),
        "{text}"
    );
    assert!(text.contains("2 | ") && text.contains('^'), "{text}");
    let (code, text) = judge(&format!("{head},\n \"feilds\": []}}"));
    assert_eq!(code, 1);
    assert!(text.contains("p.json:2:2") && text.contains("did you mean \"fields\"?"), "{text}");
    let ended = "{\"rule\": \"media-unused\", \"path\": \"media\", \"reason\": \"r\", \"until\": \"2026-05-31\"}";
    let (code, text) = judge(&format!("{head},\n \"suppressions\": [{ended}]}}"));
    assert_eq!(code, 1);
    assert!(
        text.contains("warning: p.json:2:") && text.contains("expired on 2026-05-31"),
        "{text}"
    );
    assert_eq!(judge("no json").0, 2);
    let missing = obvert(&["profile", "check", "nowhere.json"]);
    assert_eq!(status(&missing), 2);
    assert!(stderr(&missing).contains("there is no such file"), "{}", stderr(&missing));

    // A survey is not checked against an invalid profile, but it is against one with expired
    // suppressions.
    std::fs::write(
        folder.path().join("bad.json"),
        format!("{head}, \"rules\": [{{\"rule\": \"camera-sped\"}}]}}"),
    )
    .unwrap();
    let survey = root().join("examples/data/osier-9.obvert.json");
    let with = |profile: &str| {
        obvert_in(
            folder.path(),
            &["check", survey.to_str().unwrap(), "--profile", profile, "--today", "2026-06-01"],
        )
    };
    let output = with("bad.json");
    assert_eq!(status(&output), 2);
    assert!(stderr(&output).contains("did you mean \"camera-speed\"?"), "{}", stderr(&output));
    std::fs::write(
        folder.path().join("old.json"),
        format!("{head}, \"suppressions\": [{ended}]}}"),
    )
    .unwrap();
    let output = with("old.json");
    assert_eq!(status(&output), 0, "{}", stdout(&output));
    assert!(stderr(&output).contains("expired on 2026-05-31"), "{}", stderr(&output));
}

#[test]
fn suppressed_findings_are_printed_with_their_reason() {
    let folder = tempfile::tempdir().expect("folder");
    let profile = |until: &str| {
        json!({ "profile": "0.1", "id": "p", "version": "1", "title": "t",
            "fields": [{ "path": "pipes.laid", "demand": "required" }],
            "suppressions": [{ "rule": "required-field-missing", "path": "pipes", "reason": "the books burnt", "until": until }] })
    };
    let run = |until: &str| {
        let file = folder.path().join("p.json");
        std::fs::write(&file, profile(until).to_string()).unwrap();
        let file = file.to_str().unwrap().to_owned();
        obvert(&[
            "check",
            "examples/data/osier-9.obvert.json",
            "--profile",
            &file,
            "--today",
            TODAY,
        ])
    };
    let held = run("2026-06-15");
    assert_eq!(status(&held), 0);
    let message = "suppressed by the profile until 2026-06-15: 1 finding of required-field-missing: the books burnt";
    assert!(stdout(&held).contains(message), "{}", stdout(&held));
    let ended = run("2026-06-14");
    assert_eq!(status(&ended), 1);
    assert!(
        stdout(&ended)
            .contains("suppression ended on 2026-06-14: 1 finding of required-field-missing"),
        "{}",
        stdout(&ended)
    );
}

fn draft(folder: &std::path::Path, arguments: &[&str]) -> (Value, String) {
    let out = folder.join("draft.json");
    let all = [
        &["profile", "draft", "-o", out.to_str().unwrap(), "--replace", "--today", TODAY],
        arguments,
    ]
    .concat();
    let output = obvert(&all);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let judged = obvert(&["profile", "check", out.to_str().unwrap(), "--today", TODAY]);
    assert_eq!(status(&judged), 0, "{}", stdout(&judged));
    (serde_json::from_str(&std::fs::read_to_string(out).unwrap()).unwrap(), stderr(&output))
}

/// A drafted profile accepts the surveys that it was drafted from, and rejects damaged ones.
#[test]
fn a_draft_accepts_its_surveys_and_rejects_damaged_ones() {
    let folder = tempfile::tempdir().expect("folder");
    let (profile, printed) =
        draft(folder.path(), &["examples/data/larkmoor.obvert.json", "--id", "larkmoor-drafted"]);
    assert_eq!(
        (profile["id"].as_str(), profile["version"].as_str()),
        (Some("larkmoor-drafted"), Some("draft"))
    );
    assert!(printed.contains("drafted from 1 survey"), "{printed}");
    let check = |document: &Value| {
        let file = folder.path().join("survey.json");
        std::fs::write(&file, document.to_string()).unwrap();
        let draft = folder.path().join("draft.json");
        let arguments = [
            "check",
            file.to_str().unwrap(),
            "--profile",
            draft.to_str().unwrap(),
            "--today",
            TODAY,
        ];
        let output = obvert(&[&arguments[..], &["--format", "json"]].concat());
        let report: Value = serde_json::from_str(&stdout(&output)).unwrap();
        fired(&report)
    };
    let survey: Value = serde_json::from_str(&read("examples/data/larkmoor.obvert.json")).unwrap();
    assert_eq!(check(&survey), BTreeMap::new());
    for (damage, rule) in [
        (json!([{ "op": "remove", "path": "/pipes/3/material" }]), "required-field-missing"),
        (json!([{ "op": "remove", "path": "/runs/2/operator" }]), "required-field-missing"),
        (json!([{ "op": "replace", "path": "/crs", "value": "EPSG:6494" }]), "crs-not-allowed"),
        (
            json!([{ "op": "replace", "path": "/units/length", "value": "us-ft" }]),
            "unit-not-allowed",
        ),
        (
            json!([{ "op": "replace", "path": "/coding/version", "value": "2" }]),
            "code-list-not-allowed",
        ),
        (
            json!([{ "op": "replace", "path": "/vertical", "value": "NGVD 29" }]),
            "vertical-not-allowed",
        ),
        (
            json!([{ "op": "replace", "path": "/pipes/17/id", "value": "lateral 31" }]),
            "pattern-mismatch",
        ),
    ] {
        let mut damaged = survey.clone();
        let patch: json_patch::Patch = serde_json::from_value(damage.clone()).unwrap();
        json_patch::patch(&mut damaged, &patch).unwrap();
        let fired = check(&damaged);
        assert!(fired.contains_key(rule), "{damage}: {fired:?}");
    }
}

/// A draft demands what every row has, with the number of rows. A rule with findings in accepted
/// surveys becomes a note.
#[test]
fn a_draft_states_its_basis() {
    let folder = tempfile::tempdir().expect("folder");
    let (profile, _) = draft(folder.path(), &["examples/data/larkmoor.obvert.json"]);
    let field = |path: &str| {
        let fields = profile["fields"].as_array().unwrap();
        fields.iter().find(|demand| demand["path"] == path).cloned().unwrap_or_default()
    };
    let survey: Value = serde_json::from_str(&read("examples/data/larkmoor.obvert.json")).unwrap();
    let rows = survey["runs"].as_array().unwrap().len();
    assert_eq!(
        field("runs.operator"),
        json!({ "path": "runs.operator", "demand": "required", "basis": format!("in all {rows} rows of runs") })
    );
    assert_eq!(field("structures.id")["pattern"], "[A-Z]{2}-[0-9]{2,3}");
    assert_eq!(field("structures.id")["demand"], Value::Null, "the format demands it anyway");
    // Not in every row; required by the format with its object; too few rows; only one survey.
    for path in [
        "runs.to",
        "runs.counter.zero",
        "equipment.serial",
        "assignment.contract",
        "pipes.upstream",
    ] {
        assert_eq!(field(path), Value::Null, "{path}");
    }
    assert_eq!(field("runs.counter.resolution")["demand"], "required");
    assert_eq!(profile["media"][0]["kinds"], json!(["video", "interval-video"]));
    assert_eq!(profile["rules"], Value::Null);
    let (few, _) = draft(
        folder.path(),
        &["examples/data/larkmoor.obvert.json", "--min-rows", "6", "--min-surveys", "1"],
    );
    let named =
        |path: &str| few["fields"].as_array().unwrap().iter().any(|demand| demand["path"] == path);
    assert!(named("equipment.serial") && named("assignment.contract") && named("crs"));

    // Accepted with mistakes: the rules become notes, with the number of findings.
    let rejected = "examples/data/larkmoor-rejected.obvert.json";
    let (profile, _) = draft(folder.path(), &[rejected, "examples/data/larkmoor.obvert.json"]);
    let rules = profile["rules"].as_array().unwrap();
    let speed = rules.iter().find(|rule| rule["rule"] == "clock-range").expect("clock-range");
    assert_eq!(speed["severity"], "note");
    assert!(speed["basis"].as_str().unwrap().contains("in 1 of 2 surveys"), "{speed}");
    let draft = folder.path().join("draft.json");
    let output = obvert(&[
        "check",
        rejected,
        "--profile",
        draft.to_str().unwrap(),
        "--today",
        TODAY,
        "--deny",
        "warning",
    ]);
    assert_eq!(status(&output), 0, "{}", stdout(&output));
}

/// A draft accepts every survey that it was made from, without errors and warnings.
#[test]
fn a_draft_accepts_every_survey_that_it_was_drafted_from() {
    let folder = tempfile::tempdir().expect("folder");
    let surveys = ["larkmoor", "morvelde", "osier-9", "larkmoor-rejected"];
    let paths: Vec<String> =
        surveys.iter().map(|name| format!("examples/data/{name}.obvert.json")).collect();
    let paths: Vec<&str> = paths.iter().map(String::as_str).collect();
    let groups: Vec<&[&str]> =
        paths.chunks(1).chain([&paths[..2], &paths[..3], &paths[..]]).collect();
    for group in groups {
        for least in ["1", "10"] {
            draft(folder.path(), &[group, &["--min-rows", least, "--min-surveys", "1"]].concat());
            let profile = folder.path().join("draft.json");
            let profile =
                ["--profile", profile.to_str().unwrap(), "--today", TODAY, "--deny", "warning"];
            let output = obvert(&[&["check"], group, &profile].concat());
            assert_eq!(status(&output), 0, "{group:?} {least}: {}", stdout(&output));
        }
    }
}

/// A limit is moved to the value of the accepted surveys plus a tenth: 10.2 m/min were accepted,
/// 9.144 is the default.
#[test]
fn a_draft_moves_a_limit_that_accepted_surveys_exceed() {
    let folder = tempfile::tempdir().expect("folder");
    let rejected = "examples/data/larkmoor-rejected.obvert.json";
    let (mut profile, _) = draft(folder.path(), &[rejected]);
    let speed = |profile: &Value| {
        let rules = profile["rules"].as_array().unwrap();
        rules.iter().position(|rule| rule["rule"] == "camera-speed").expect("camera-speed")
    };
    let place = speed(&profile);
    let rule = profile["rules"][place].clone();
    assert_eq!(rule["limits"], json!([{ "name": "limit", "value": 12 }]));
    assert_eq!(rule["severity"], Value::Null);
    assert!(rule["basis"].as_str().unwrap().contains("up to about 10.2"), "{rule}");
    let file = folder.path().join("draft.json");
    let mut fires = |value: f64| {
        profile["rules"][place]["limits"][0]["value"] = json!(value);
        std::fs::write(&file, profile.to_string()).unwrap();
        let arguments = [
            "check",
            rejected,
            "--profile",
            file.to_str().unwrap(),
            "--today",
            TODAY,
            "--format",
            "json",
        ];
        fired(&serde_json::from_str(&stdout(&obvert(&arguments))).unwrap())
            .contains_key("camera-speed")
    };
    assert!(!fires(12.0) && fires(10.0));
}

#[test]
fn a_draft_allows_frequent_words() {
    let folder = tempfile::tempdir().expect("folder");
    let (profile, _) = draft(folder.path(), &["examples/data/larkmoor.obvert.json"]);
    let fields = profile["fields"].as_array().unwrap();
    let values = |path: &str| {
        fields.iter().find(|demand| demand["path"] == path).map(|demand| &demand["values"])
    };
    assert_eq!(values("runs.method"), Some(&json!(["crawler", "push-rod"])));
    // All words of the format occur, so none is demanded.
    assert!(values("runs.direction").is_none_or(Value::is_null));
    let mut survey: Value =
        serde_json::from_str(&read("examples/data/larkmoor.obvert.json")).unwrap();
    survey["runs"][3]["preparation"] = json!("mechanical");
    let file = folder.path().join("survey.json");
    std::fs::write(&file, survey.to_string()).unwrap();
    let draft = folder.path().join("draft.json");
    let (file, draft) = (file.to_str().unwrap(), draft.to_str().unwrap());
    let output = obvert(&["check", file, "--profile", draft, "--today", TODAY, "--format", "json"]);
    assert!(
        fired(&serde_json::from_str(&stdout(&output)).unwrap()).contains_key("value-not-allowed")
    );
}

/// Surveys may be in any format, and in a folder.
#[test]
fn a_draft_reads_folders_and_every_format() {
    let folder = tempfile::tempdir().expect("folder");
    let surveys = folder.path().join("accepted");
    std::fs::create_dir(&surveys).unwrap();
    let larkmoor = root().join("examples/data/larkmoor.obvert.json");
    for (out, to) in
        [("a.xml", "xml"), ("b.zip", "csv-zip"), ("c", "csv"), ("d.obvert.json", "json")]
    {
        let out = surveys.join(out);
        let output = obvert(&[
            "convert",
            larkmoor.to_str().unwrap(),
            "-o",
            out.to_str().unwrap(),
            "--to",
            to,
        ]);
        assert_eq!(status(&output), 0, "{}", stderr(&output));
    }
    std::fs::write(surveys.join("notes.txt"), "called the office").unwrap();
    let (profile, printed) = draft(folder.path(), &[surveys.to_str().unwrap()]);
    assert!(printed.contains("drafted from 4 surveys"), "{printed}");
    let crs = profile["fields"]
        .as_array()
        .unwrap()
        .iter()
        .find(|demand| demand["path"] == "crs")
        .unwrap();
    assert_eq!(crs["basis"], "in all 4 surveys");

    let empty = folder.path().join("empty");
    std::fs::create_dir(&empty).unwrap();
    let output = obvert(&["profile", "draft", empty.to_str().unwrap()]);
    assert_eq!(status(&output), 2);
    assert!(stderr(&output).contains("there is no survey in this folder"), "{}", stderr(&output));
    std::fs::write(surveys.join("e.obvert.json"), "{}").unwrap();
    let output = obvert(&["profile", "draft", surveys.to_str().unwrap()]);
    assert_eq!(status(&output), 2);
    assert!(stderr(&output).contains("not a valid survey"), "{}", stderr(&output));
}

#[test]
fn the_schema_judges_as_the_reader_does() {
    let schema: Value = serde_json::from_str(&stdout(&obvert(&["schema", "profile"]))).unwrap();
    let validator = jsonschema::validator_for(&schema).expect("the schema compiles");
    for name in ["larkmoor-water", "morvelde-drainage", "house-drain-sale"] {
        let profile: Value =
            serde_json::from_str(&read(&format!("examples/profiles/{name}.profile.json"))).unwrap();
        assert!(validator.is_valid(&profile), "{name}");
        for (pointer, value) in [
            ("/fields/0/path", json!("Runs")),
            ("/fields/0/demand", json!("wanted")),
            ("/rules/0/severity", json!("fatal")),
            ("/media/0/kinds", json!("video")),
            ("/title", json!("")),
            ("/profile", json!("9")),
            ("/version", Value::Null),
        ] {
            let mut wrong = profile.clone();
            let place =
                wrong.pointer_mut(pointer).unwrap_or_else(|| panic!("{name} has no {pointer}"));
            *place = value;
            assert!(!validator.is_valid(&wrong), "{name} {pointer}");
            assert!(
                obvert::model::profile::Profile::read(wrong.to_string().as_bytes()).is_err(),
                "{name} {pointer}"
            );
        }
    }
}
