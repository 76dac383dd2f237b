//! The pipes and runs in a report, with which findings can be grouped and drawn without the
//! document.

use obvert_check::Settings;
use serde_json::{Value, json};

use crate::fixtures::{check, minimal, mistaken, today};

#[test]
fn only_the_pipes_of_listed_findings_are_kept_with_every_run_through_them() {
    assert_eq!(check(&minimal(), "m.json", today()).documents[0].affected_pipes, []);
    let mut document = minimal();
    document["runs"][2]["observations"][1]["remark"] = json!("met ");
    let report = check(&document, "m.json", today());
    let kept: Value = serde_json::to_value(&report.documents[0].affected_pipes).expect("json");
    let expected = json!([{
        "pipe": "L-102", "upstream": "LM-015", "downstream": "LM-016", "length": 180.0,
        "runs": [
            { "run": "R-102", "upstream": false, "from": "LM-015", "to": "LM-016", "surveyed": 90.0 },
            { "run": "R-102R", "upstream": true, "from": "LM-016", "to": "LM-015", "surveyed": 90.0 }
        ]
    }]);
    assert_eq!(kept, expected);
}

#[test]
fn findings_have_the_id_of_their_row() {
    let report = check(&mistaken(), "m.json", today());
    let record = |rule: &str| {
        let finding = report.findings.iter().find(|finding| finding.rule == rule).expect(rule);
        (finding.subject.record.clone(), finding.subject.pipe.clone())
    };
    assert_eq!(record("invert-above-ground"), (Some("LM-014".into()), None));
    assert_eq!(record("media-unused"), (Some("M-9".into()), None));
    assert_eq!(record("size-implausible"), (None, Some("L-101".into())));
    assert_eq!(record("clock-range"), (None, Some("L-101".into())));
}

/// A finding about a media file has a run and no pipe; it belongs to the pipe of its run.
#[test]
fn a_finding_about_a_run_belongs_to_its_pipe() {
    let mut document = minimal();
    document["media"][2]["file"] = json!("photos\\lm015_001.jpg");
    let report = check(&document, "m.json", today());
    assert!(
        report.findings.iter().all(|finding| finding.subject.pipe.is_none()),
        "{:?}",
        report.findings
    );
    assert_eq!(report.documents[0].affected_pipes[0].pipe, "L-102");
}

/// A run names a pipe that the document does not have: the run is kept without the pipe's values.
#[test]
fn a_missing_pipe_has_its_runs() {
    let mut document = minimal();
    document["runs"][0]["pipe"] = json!("L-999");
    let report = check(&document, "m.json", today());
    let last = report.documents[0].affected_pipes.last().expect("a pipe");
    assert_eq!((last.pipe.as_str(), last.length, last.runs.len()), ("L-999", None, 1));
}

/// Eight thousand runs, each with a mistake: only pipes of listed findings are kept, and they are
/// small.
#[test]
fn many_runs_need_little_space() {
    let mut document = minimal();
    let (pipe, run) = (document["pipes"][0].clone(), document["runs"][0].clone());
    for table in ["pipes", "runs", "ratings", "locates", "media"] {
        document[table] = json!([]);
    }
    for number in 0..8000 {
        let mut pipe = pipe.clone();
        pipe["id"] = json!(format!("L-{number}"));
        document["pipes"].as_array_mut().expect("pipes").push(pipe);
        let mut run = run.clone();
        (run["id"], run["pipe"]) = (json!(format!("R-{number}")), json!(format!("L-{number}")));
        let rows = run["observations"].as_array_mut().expect("rows");
        rows.retain(|row| row["code"] == "run.start" || row["code"] == "run.finish");
        for row in rows {
            row["media"] = json!([]);
            row["remark"] = json!("so ");
        }
        document["runs"].as_array_mut().expect("runs").push(run);
    }
    let size = |settings: Settings| {
        let report = check(&document, "m.json", settings);
        assert!(
            report.rules.iter().any(|rule| rule.rule == "text-untrimmed" && rule.total == 16000)
        );
        let kept = &report.documents[0].affected_pipes;
        (kept.len(), serde_json::to_vec(kept).expect("json").len())
    };
    let quiet = |keep| {
        let mut settings = today().with_keep(keep);
        for rule in obvert_check::catalogue().iter().filter(|rule| rule.name != "text-untrimmed") {
            settings.severities.insert(rule.name.to_owned(), None);
        }
        settings
    };
    assert_eq!(size(quiet(10)).0, 5);
    let (pipes, bytes) = size(quiet(usize::MAX));
    assert_eq!(pipes, 8000);
    assert!(bytes < 8000 * 256, "{bytes} bytes");
}
