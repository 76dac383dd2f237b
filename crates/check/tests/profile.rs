//! A survey checked against an office's profile: precedence of settings, suppressions, and what the
//! report states about them.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_check::{Checker, MINIMAL, Report, Settings, SettingsError, Severity};
use obvert_model::profile::Profile;
use serde_json::{Value, json};

fn profile(parts: Value) -> Profile {
    let mut whole =
        json!({ "profile": "0.1", "id": "larkmoor", "version": "3", "title": "Sewer surveys" });
    whole.as_object_mut().unwrap().extend(parts.as_object().cloned().unwrap());
    Profile::read(whole.to_string().as_bytes()).unwrap_or_else(|error| panic!("{error}"))
}

fn settings(parts: Value) -> Settings {
    Settings::default()
        .with_profile(profile(parts))
        .with_today("2026-06-01".parse().expect("a date"))
}

fn check_with(settings: Settings, patch: Value) -> Report {
    let mut document: Value = serde_json::from_str(MINIMAL).unwrap();
    let patch: json_patch::Patch = serde_json::from_value(patch).unwrap();
    json_patch::patch(&mut document, &patch).unwrap();
    Checker::new(settings).unwrap().check(document.to_string().as_bytes()).unwrap()
}

fn check(parts: Value, patch: Value) -> Report {
    check_with(settings(parts), patch)
}

fn found(report: &Report) -> Vec<(&str, Severity, &str)> {
    report
        .findings
        .iter()
        .map(|finding| (&*finding.rule, finding.severity, finding.subject.path.as_str()))
        .collect()
}

#[test]
fn a_report_states_its_profile() {
    let parts = json!({ "fields": [{ "path": "runs.operator", "demand": "required" }] });
    let report = check(parts.clone(), json!([]));
    let identity = report.profile.as_ref().expect("a profile");
    assert_eq!((identity.id.as_str(), identity.version.as_str()), ("larkmoor", "3"));
    assert_eq!(identity.digest, profile(parts.clone()).digest().unwrap().as_str());
    assert_eq!(found(&report), []);
    // Also in the report of a source that is not a survey, and of a file that could not be read.
    let checker = Checker::new(settings(parts)).unwrap();
    assert_eq!(checker.check(b"{}").unwrap().profile.as_ref(), Some(identity));
    assert_eq!(checker.unread("a.json", "there is no such file").profile.as_ref(), Some(identity));
    let without_profile = Checker::new(Settings::default()).unwrap();
    let mut joined = without_profile.unread("a.json", "there is no such file");
    joined.merge(report.clone());
    assert_eq!(joined.profile.as_ref(), Some(identity));
    assert_eq!(Report::read(&serde_json::to_vec(&joined).unwrap()).unwrap(), joined);
    assert!(!serde_json::to_string(&joined).unwrap().contains("null"));
}

#[test]
fn without_a_profile_its_rules_are_silent() {
    let report =
        check_with(Settings::default(), json!([{ "op": "remove", "path": "/pipes/0/material" }]));
    assert!(
        report
            .not_run
            .iter()
            .all(|not_run| !not_run.rules.iter().any(|rule| rule.contains("demanded")))
    );
    assert_eq!(report.profile, None);
    assert_eq!(report.findings, []);
}

/// Command line over profile over catalogue.
#[test]
fn settings_override_the_profile_and_the_profile_overrides_the_catalogue() {
    let unused = json!([{ "op": "add", "path": "/media/-", "value": { "id": "M-9", "file": "x.jpg", "kind": "photo" } }]);
    let profile =
        |weight: &str| json!({ "rules": [{ "rule": "media-unused", "severity": weight }] });
    let severity = |report: &Report| {
        report.findings.iter().find(|f| f.rule == "media-unused").map(|f| f.severity)
    };
    let default = check_with(Settings::default(), unused.clone());
    let default = severity(&default).expect("it is found");
    assert_ne!(default, Severity::Error);
    assert_eq!(severity(&check(profile("error"), unused.clone())), Some(Severity::Error));
    assert_eq!(severity(&check(profile("off"), unused.clone())), None);
    let mut over = settings(profile("off"));
    over.severities.insert("media-unused".into(), Some(Severity::Note));
    let report = check_with(over, unused);
    assert_eq!(severity(&report), Some(Severity::Note));
    assert_eq!(report.settings.severities["media-unused"], "note");
}

/// The limit of camera-speed is stated in metres a minute; 30 ft/min is the published limit of its
/// documentation.
#[test]
fn a_limit_may_be_in_feet() {
    let profile = |value: f64, unit: &str| json!({ "rules": [{ "rule": "camera-speed", "limits": [{ "name": "limit", "value": value, "unit": unit }] }] });
    // R-101 drives 200 ft in 13 minutes: 15.38 ft/min.
    assert_eq!(found(&check(profile(15.5, "ft/min"), json!([]))), []);
    let fast = check(profile(15.0, "ft/min"), json!([]));
    assert!(
        fast.findings.iter().all(|finding| finding.rule == "camera-speed")
            && !fast.findings.is_empty()
    );
    assert_eq!(
        check(profile(30.0, "ft/min"), json!([])).settings.limits["camera-speed.limit"],
        9.144
    );
    let mut over = settings(profile(15.0, "ft/min"));
    over.limits.insert(("camera-speed".into(), "limit".into()), 9.144);
    assert_eq!(found(&check_with(over, json!([]))), []);
}

#[test]
fn findings_in_every_row_are_counted_exactly_and_listed_up_to_the_cap() {
    let mut few = settings(
        json!({ "fields": [{ "path": "runs.observations.remark", "demand": "required" }] }),
    );
    few.keep = 4;
    let report = check_with(few, json!([]));
    let total = &report.rules[0];
    assert_eq!((total.rule.as_str(), total.total, total.listed), ("required-field-missing", 12, 4));
    let first = &report.findings[0];
    assert_eq!(first.subject.path, "/runs/0/observations/0");
    assert_eq!(
        (first.subject.run.as_deref(), first.subject.observation.as_deref()),
        (Some("R-101"), Some("1"))
    );
    assert_eq!(first.message, "runs.observations.remark is missing, but the profile requires it");
    assert_eq!(first.params["field"], "runs.observations.remark");
}

#[test]
fn a_finding_has_the_advice_of_the_office() {
    let demand = json!({
        "path": "pipes.joint_spacing", "demand": "required", "help": "ask the yard", "basis": "contract, clause 4.2",
        "where": [{ "field": "material", "values": ["vitrified-clay"] }]
    });
    let report = check(json!({ "fields": [demand] }), json!([]));
    assert_eq!(found(&report), [("required-field-missing", Severity::Error, "/pipes/1")]);
    let finding = &report.findings[0];
    assert_eq!(finding.subject.pipe.as_deref(), Some("L-102"));
    assert_eq!(finding.help.as_deref(), Some("ask the yard"));
    assert_eq!(finding.params["basis"], "contract, clause 4.2");
    assert!(
        finding.message.ends_with("requires it where material is \"vitrified-clay\""),
        "{}",
        finding.message
    );
}

/// Demands apply to every table, and findings point to the rows.
#[test]
fn demands_apply_to_every_table() {
    let required = |path: &str| json!({ "path": path, "demand": "required" });
    let paths = [
        ("review.note", vec![""]),
        ("parties.contact", vec!["/parties/0", "/parties/1"]),
        ("equipment.serial", vec!["/equipment/0", "/equipment/1"]),
        ("structures.asset", vec!["/structures/0", "/structures/1", "/structures/2"]),
        ("pipes.inverts.upstream", vec![]),
        ("pipes.joins.at", vec!["/pipes/0", "/pipes/1"]),
        ("media.sha256", vec!["/media/0", "/media/1", "/media/2"]),
        ("locates.method_text", vec!["/locates/0", "/locates/1"]),
        ("ratings.runs", vec!["/ratings/1"]),
        ("runs.counter.resolution", vec!["/runs/1/counter", "/runs/2/counter"]),
        ("runs.counter.checks.extensions", vec!["/runs/0/counter/checks/0"]),
        (
            "runs.observations.quantities.extensions",
            vec![
                "/runs/0/observations/1/quantities/0",
                "/runs/0/observations/3/quantities/0",
                "/runs/0/observations/4/quantities/0",
                "/runs/0/observations/5/quantities/0",
            ],
        ),
    ];
    for (path, at) in paths {
        let report = check(json!({ "fields": [required(path)] }), json!([]));
        let pointers: Vec<&str> =
            report.findings.iter().map(|finding| finding.subject.path.as_str()).collect();
        assert_eq!(pointers, at, "{path}");
    }
}

#[test]
fn suppressed_findings_are_counted_and_named() {
    let patch = json!([
        { "op": "add", "path": "/media/-", "value": { "id": "M-9", "file": "x.jpg", "kind": "photo" } },
        { "op": "remove", "path": "/pipes/0/material" }, { "op": "remove", "path": "/pipes/1/material" },
    ]);
    let with = |suppressions: Value| {
        let demand = json!({ "path": "pipes.material", "demand": "required" });
        check(json!({ "fields": [demand], "suppressions": suppressions }), patch.clone())
    };
    let all = with(json!([]));
    let count = |report: &Report, rule: &str| {
        report.rules.iter().find(|r| r.rule == rule).map_or(0, |r| r.total)
    };
    assert_eq!((count(&all, "required-field-missing"), count(&all, "media-unused")), (2, 1));
    assert_eq!(all.suppressed, []);

    let one = with(json!([
        { "rule": "required-field-missing", "pipes": ["L-102"], "reason": "never recorded", "until": "2026-06-01" },
        { "rule": "media-unused", "path": "media", "reason": "the yard keeps them all" },
        { "rule": "run-duplicate", "path": "runs", "reason": "meets nothing" }
    ]));
    assert_eq!((count(&one, "required-field-missing"), count(&one, "media-unused")), (1, 0));
    let suppressed: Vec<_> = one
        .suppressed
        .iter()
        .map(|s| (s.rule.as_str(), s.count, s.reason.as_str(), s.expired))
        .collect();
    assert_eq!(
        suppressed,
        [
            ("media-unused", 1, "the yard keeps them all", false),
            ("required-field-missing", 1, "never recorded", false)
        ]
    );
    assert_eq!(one.totals.error, 1);

    // The last day is over: the finding is counted again, and the report gives the reason.
    let ended = with(json!([
        { "rule": "required-field-missing", "pipes": ["L-102"], "reason": "never recorded", "until": "2026-05-31" }
    ]));
    assert_eq!(count(&ended, "required-field-missing"), 2);
    assert_eq!(ended.suppressed.len(), 1);
    assert!(ended.suppressed[0].expired && ended.suppressed[0].count == 1);
    assert_eq!(ended.suppressed[0].until.as_deref(), Some("2026-05-31"));

    // Merged reports keep their own suppressions.
    let mut joined = with(json!([]));
    joined.merge(one.clone());
    assert_eq!(joined.suppressed[0].document, 1);
    assert_eq!(joined.of_document(1).suppressed, one.suppressed);
    assert_eq!(joined.of_document(0).suppressed, []);
}

#[test]
fn an_invalid_profile_is_rejected() {
    let refuse = |parts: Value| Checker::new(settings(parts)).expect_err("refused").to_string();
    assert_eq!(
        refuse(
            json!({ "rules": [{ "rule": "media-unused", "severity": "off", "limits": [{ "name": "x", "value": 1 }] }],
            "fields": [{ "path": "pipes.colour", "demand": "required" }] })
        ),
        "the profile larkmoor cannot be used: /rules/0/limits/0/name: the rule media-unused has no limit \"x\"; it has: none; \
         and 1 more"
    );
    // An unavailable list is no reason to reject it: the survey may be coded in another one.
    assert!(
        Checker::new(settings(json!({ "allow": { "code_lists": [{ "list": "own" }] } }))).is_ok()
    );
    let ends = json!({ "suppressions": [{ "rule": "media-unused", "path": "media", "reason": "r", "until": "2026-06-01" }] });
    let mut undated = settings(ends);
    undated.today = None;
    assert_eq!(
        Checker::new(undated).expect_err("no date"),
        SettingsError::ProfileNeedsToday { id: "larkmoor".into() }
    );
}

#[test]
fn the_weaker_rule_is_skipped_if_the_profile_demands_the_photo() {
    let patch = json!([{ "op": "remove", "path": "/runs/1/observations/1/media" }]);
    let demand = json!({ "media": [{ "of": "observation", "kinds": ["photo"], "from_grade": 4 }] });
    let rules =
        |report: &Report| report.rules.iter().map(|rule| rule.rule.clone()).collect::<Vec<_>>();
    assert_eq!(
        rules(&check_with(Settings::default(), patch.clone())),
        ["worst-grade-without-photo"]
    );
    assert_eq!(rules(&check(demand, patch)), ["graded-media-missing"]);
}

/// A scale may fall: A is the worst and C the best in one public use (facts: iwaponline table
/// 2139453), 5 best to 1 worst here.
#[test]
fn the_direction_of_the_scale_counts() {
    let mut scheme = obvert_model::lists::GradeScheme::obvert_grades().clone();
    scheme.id = "upside-down".parse().unwrap();
    std::mem::swap(&mut scheme.scale.best, &mut scheme.scale.worst);
    let photo = json!({ "media": [{ "of": "observation", "kinds": ["photo"], "from_grade": 2, "aspect": "structural" }] });
    let mut own = settings(photo);
    own.grade_schemes.push(scheme);
    own.severities.insert("grade-contradicts".into(), None);
    let patch = json!([{ "op": "replace", "path": "/grading/scheme", "value": "upside-down" },
        { "op": "replace", "path": "/runs/0/observations/4/grades/structural", "value": 3 }]);
    let report = check_with(own, patch);
    let at: Vec<&str> = report
        .findings
        .iter()
        .filter(|f| f.rule == "graded-media-missing")
        .map(|f| f.subject.path.as_str())
        .collect();
    // Row 2 has grade 2 and its photo; row 4 is recorded 3, better than 2, but the scheme computes
    // 2.
    assert_eq!(at, ["/runs/0/observations/4/media"]);
    assert_eq!(
        report.findings.iter().find(|f| f.rule == "graded-media-missing").unwrap().params["grade"],
        2
    );
}
