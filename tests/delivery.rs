//! The files of a delivery, as `obvert check` finds them in a folder.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use std::fs;

use serde_json::Value;
use support::{obvert_in, read, status, stderr, stdout};

const SURVEY: &str = "examples/data/larkmoor.obvert.json";

/// A folder with the survey and one of its photos, which is empty.
fn folder() -> (tempfile::TempDir, Vec<String>) {
    let folder = tempfile::tempdir().expect("folder");
    let text = read(SURVEY);
    let survey: Value = serde_json::from_str(&text).expect("JSON");
    let files = survey["media"].as_array().expect("media").iter();
    let files: Vec<String> =
        files.map(|media| media["file"].as_str().expect("a file").to_owned()).collect();
    fs::write(folder.path().join("survey.json"), text).expect("write");
    let first = folder.path().join("films").join(&files[0]);
    fs::create_dir_all(first.parent().expect("a folder")).expect("folder");
    fs::write(first, b"").expect("write");
    (folder, files)
}

#[test]
fn every_missing_file_is_named() {
    let (folder, files) = folder();
    let output = obvert_in(folder.path(), &["check", "survey.json", "--media", "films"]);
    let text = stdout(&output);
    assert_eq!(status(&output), 1, "{}", stderr(&output));
    for file in &files {
        assert!(text.contains(file.as_str()), "{file}");
    }
    assert!(
        text.contains(&format!("{} is damaged: the file is empty", quoted(&files[0]))),
        "{text}"
    );
    let missing = files.len() - 1;
    assert!(text.contains(&format!("1 media file opened, {missing} missing")), "{text}");
}

fn quoted(text: &str) -> String {
    format!("{text:?}")
}

#[test]
fn a_report_states_whether_files_were_opened() {
    let (folder, files) = folder();
    let report = |arguments: &[&str]| -> Value {
        let arguments = [&["check", "survey.json", "--format", "json"], arguments].concat();
        let output = obvert_in(folder.path(), &arguments);
        serde_json::from_str(&stdout(&output)).expect("JSON")
    };
    let opened = report(&["--media", "films"]);
    let counts = &opened["documents"][0]["files"];
    assert_eq!((&counts["opened"], &counts["missing"]), (&1.into(), &(files.len() - 1).into()));
    // Neither the folder of the survey nor one without its files is full of errors.
    for (arguments, why) in
        [(&[][..], "none of the 165"), (&["--no-media"], "--no-media was given")]
    {
        let report = report(arguments);
        let text = report["documents"][0]["files"]["not_opened"].as_str().expect("a reason");
        assert!(text.contains(why), "{text}");
        assert_eq!(report["findings"], Value::Array(Vec::new()));
    }
}

#[test]
fn the_folder_of_the_files_must_exist() {
    let (folder, _) = folder();
    let output = obvert_in(folder.path(), &["check", "survey.json", "--media", "nowhere"]);
    assert_eq!(status(&output), 2);
    assert!(stderr(&output).contains("--media nowhere: is not a folder"), "{}", stderr(&output));
}

#[test]
fn an_audit_goes_on_where_its_log_ends() {
    let (folder, files) = folder();
    let arguments = ["check", "survey.json", "--media", "films", "--media-log", "audit.jsonl"];
    let first = obvert_in(folder.path(), &arguments);
    let log = fs::read_to_string(folder.path().join("audit.jsonl")).expect("a log");
    assert_eq!(log.lines().count(), 1);
    assert!(log.contains(&files[0]), "{log}");
    let again = obvert_in(folder.path(), &arguments);
    assert_eq!(stdout(&first), stdout(&again));
    assert_eq!(fs::read_to_string(folder.path().join("audit.jsonl")).expect("a log"), log);
    let arguments = ["check", "survey.json", "--media-log", "nowhere/audit.jsonl"];
    let failed = obvert_in(folder.path(), &arguments);
    assert_eq!(status(&failed), 2);
    assert!(stderr(&failed).contains("--media-log nowhere/audit.jsonl: "), "{}", stderr(&failed));
}
