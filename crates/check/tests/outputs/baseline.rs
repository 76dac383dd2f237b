//! Comparing a report with an earlier one.

use obvert_check::Report;
use serde_json::{Value, json};

use crate::fixtures::{check, minimal, mistaken, today};
use crate::{FORMS, text};

fn checked(document: &Value) -> Report {
    check(document, "m.json", today())
}

fn compared(now: &Value, earlier: &Value) -> Report {
    let mut report = checked(now);
    report.compare_with(&checked(earlier), Some("earlier.json"));
    report
}

fn numbers(report: &Report) -> (usize, usize, usize) {
    let baseline = report.baseline.as_ref().expect("a comparison");
    (report.totals.all(), baseline.known, baseline.resolved)
}

fn insert(document: &mut Value, table: &str, at: usize, row: Value) {
    document.pointer_mut(table).and_then(Value::as_array_mut).expect("a table").insert(at, row);
}

/// A change between the two checks, and the numbers of new, known and resolved findings.
#[test]
fn only_new_findings_count() {
    type Change = fn(&mut Value);
    let all = checked(&mistaken()).totals.all();
    let cases: [(&str, Change, (usize, usize, usize)); 7] = [
        ("nothing", |_| {}, (0, all, 0)),
        (
            "a row put in before",
            |document| {
                let row = json!({ "id": "0", "at": 0, "code": "note.remark", "remark": "put in", "media": [{ "id": "M-2", "offset": 0 }] });
                insert(document, "/runs/0/observations", 1, row);
            },
            (0, all, 0),
        ),
        (
            "rows put in before in every table",
            |document| {
                // In one pipe, one run and one row: rows without mistakes.
                insert(document, "/structures", 0, json!({ "id": "LM-001", "kind": "manhole" }));
                let run = json!({ "id": "R-000", "pipe": "L-001", "direction": "downstream", "surveyed": 9, "method": "pole",
                    "started": "2026-05-06T08:00:00-05:00", "finished": "2026-05-06T08:10:00-05:00",
                    "outcome": { "kind": "reached" }, "observations": [{ "id": "1", "at": 0, "code": "run.start" },
                    { "id": "2", "at": 9, "code": "run.finish" }] });
                insert(document, "/runs", 0, run);
                insert(
                    document,
                    "/media",
                    0,
                    json!({ "id": "M-0", "file": "photos/0.jpg", "kind": "photo", "type": "image/jpeg", "run": "R-101" }),
                );
                insert(
                    document,
                    "/pipes",
                    0,
                    json!({ "id": "L-001", "upstream": "LM-001", "downstream": "LM-014" }),
                );
            },
            (0, all, 0),
        ),
        (
            "one corrected",
            |document| document["runs"][0]["observations"][5]["clock"] = json!({ "at": 6 }),
            (0, all - 1, 1),
        ),
        (
            "one made",
            |document| document["runs"][0]["observations"][3]["clock"] = json!({ "at": 0 }),
            (1, all, 0),
        ),
        (
            "the same mistake, another amount",
            |document| document["runs"][0]["observations"][5]["clock"] = json!({ "at": 14 }),
            (1, all - 1, 1),
        ),
        (
            "a document of another id",
            |document| document["id"] = json!("urn:uuid:3f0e7a52-9d27-4a8e-8a63-000000000000"),
            (0, all, 0),
        ),
    ];
    for (name, change, expected) in cases {
        let mut now = mistaken();
        change(&mut now);
        let report = compared(&now, &mistaken());
        assert_eq!(numbers(&report), expected, "{name}: {:#?}", report.findings);
        assert_eq!(report.findings.len(), report.totals.all(), "{name}");
        assert_eq!(report.documents[0].totals, report.totals, "{name}");
        assert_eq!(report.worst().is_some(), expected.0 > 0, "{name}");
    }
}

/// Only the id distinguishes a mistake of one structure from that of another.
#[test]
fn the_same_mistake_in_another_row_is_new() {
    let mut now = mistaken();
    now["structures"][0]["invert"] = json!(640.5);
    now["structures"][1]["invert"] = json!(651);
    let report = compared(&now, &mistaken());
    let new: Vec<_> = report
        .findings
        .iter()
        .map(|finding| (&*finding.rule, finding.subject.record.as_deref()))
        .collect();
    assert!(new.contains(&("invert-above-ground", Some("LM-015"))), "{new:?}");
    assert!(report.baseline.as_ref().is_some_and(|baseline| baseline.resolved > 0));
}

/// If several findings have the same identity, as many are known as there were before.
#[test]
fn indistinguishable_findings_are_counted() {
    let with = |count: usize| {
        let mut document = minimal();
        for row in
            document["runs"][0]["observations"].as_array_mut().expect("rows").iter_mut().take(count)
        {
            row["colour"] = json!("red");
        }
        document
    };
    assert_eq!(numbers(&compared(&with(3), &with(2))), (1, 2, 0));
    assert_eq!(numbers(&compared(&with(2), &with(3))), (0, 2, 1));
}

#[test]
fn findings_of_rules_that_were_not_run_are_not_resolved() {
    // Without units no rule can be run.
    let mut broken = mistaken();
    broken["units"]["length"] = json!("feet");
    assert_eq!(numbers(&compared(&broken, &mistaken())), (1, 0, 0));
    // The findings may be in the part that could not be read.
    let mut broken = mistaken();
    broken["pipes"][0]["hieght"] = json!(8);
    assert_eq!(numbers(&compared(&broken, &mistaken())), (1, 5, 0));
    // The rule is turned off now.
    let mut settings = today();
    settings.severities.insert("clock-range".into(), None);
    let mut report = check(&mistaken(), "m.json", settings);
    let before = checked(&mistaken());
    report.compare_with(&before, None);
    assert_eq!(numbers(&report), (0, before.totals.all() - 1, 0));
}

#[test]
fn documents_are_matched() {
    let named = |id: &str, mut document: Value| {
        document["id"] = json!(format!("urn:uuid:3f0e7a52-9d27-4a8e-8a63-{id}"));
        document
    };
    let join = |documents: &[(&str, &Value)]| {
        let mut reports = documents.iter().map(|(file, document)| check(document, file, today()));
        let mut whole = reports.next().expect("one");
        reports.for_each(|report| whole.merge(report));
        whole
    };
    let (a, b) = (named("00000000000a", mistaken()), named("00000000000b", minimal()));
    let all = checked(&mistaken()).totals.all();
    // In another order and with other names they are matched by id.
    let mut now = join(&[("y", &b), ("x", &a)]);
    now.compare_with(&join(&[("1", &a), ("2", &b)]), None);
    assert_eq!(numbers(&now), (0, all, 0));
    // The clean document has the mistakes now: all of them are new, and the other ones are
    // resolved.
    let (a2, b2) = (named("00000000000a", minimal()), named("00000000000b", mistaken()));
    let mut now = join(&[("1", &a2), ("2", &b2)]);
    now.compare_with(&join(&[("1", &a), ("2", &b)]), None);
    assert_eq!(numbers(&now), (all, 0, all));
    assert_eq!(now.of_document(1).totals.all(), all);
    assert_eq!(now.of_document(0).totals.all(), 0);
    // A document that is not in the earlier report.
    let c = named("00000000000c", mistaken());
    let mut now = join(&[("1", &a), ("3", &c)]);
    now.compare_with(&join(&[("1", &a), ("2", &b)]), None);
    assert_eq!(numbers(&now), (all, all, 0));
}

#[test]
fn rules_with_unlisted_findings_are_uncertain() {
    let mut document = minimal();
    for row in document["runs"][0]["observations"].as_array_mut().expect("rows") {
        row["clock"] = json!({ "at": 3.2 });
    }
    let capped = check(&document, "m.json", today().with_keep(2));
    let mut now = checked(&document);
    now.compare_with(&capped, None);
    let baseline = now.baseline.as_ref().expect("a baseline");
    assert!(baseline.uncertain.contains(&"clock-range".to_owned()), "{baseline:?}");
    assert!(text(FORMS[5].1, &now).contains("known findings may be shown as new"));
}

#[test]
fn every_format_states_how_many_are_known_and_resolved() {
    let mut now = mistaken();
    now["runs"][0]["observations"][5]["clock"] = json!({ "at": 6 });
    let report = compared(&now, &mistaken());
    let (_, known, resolved) = numbers(&report);
    for (form, write) in FORMS {
        let text = text(write, &report);
        let message = match form {
            "jsonl" => vec![format!("\"known\":{known}"), format!("\"resolved\":{resolved}")],
            "junit" => vec![
                format!("name=\"known\" value=\"{known}\""),
                format!("name=\"resolved\" value=\"{resolved}\""),
            ],
            "github" | "csv" => {
                vec![format!("{known} already known"), format!("{resolved} resolved")]
            }
            _ => vec![format!("{known} findings already known"), format!("{resolved} resolved")],
        };
        for message in message {
            assert!(text.contains(&message), "{form}: {message}\n{text}");
        }
    }
    assert!(
        !text(FORMS[5].1, &report).contains("No check found anything"),
        "what was known is still wrong"
    );
}

#[test]
fn other_files_and_versions_are_rejected() {
    for (source, says) in [
        ("", "EOF"),
        ("[]", "invalid"),
        ("{}", "missing field `report`"),
        ("{\"$schema\": \"x\", \"version\": \"2.1.0\", \"runs\": []}", "missing field"),
    ] {
        let error = Report::read(source.as_bytes()).expect_err(source).to_string();
        assert!(error.contains(says), "{source}: {error}");
    }
    let mut report = serde_json::to_value(checked(&mistaken())).expect("json");
    report["report"] = json!("7.0");
    let error =
        Report::read(report.to_string().as_bytes()).expect_err("another version").to_string();
    assert!(error.contains("\"7.0\"") && error.contains("0.4"), "{error}");
    report["report"] = json!("0.4");
    report["findings"][0]["document"] = json!(4);
    let error = Report::read(report.to_string().as_bytes())
        .expect_err("a document that is not there")
        .to_string();
    assert!(error.contains("document 4, but the report has 1"), "{error}");
}
