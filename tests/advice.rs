//! What the command advises when it is misused: plain words, only options that the command has, and
//! the place in a file that is broken.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use std::path::Path;
use std::process::Output;

use support::{obvert_in, read, status, stderr, stdout};

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("folder");
    let survey = read("crates/check/src/minimal.obvert.json");
    std::fs::write(folder.path().join("survey.json"), &survey).expect("write");
    std::fs::write(folder.path().join("table.csv"), "Pipe;Found\nP-1;roots\n").expect("write");
    folder
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    obvert_in(folder, arguments)
}

/// A message never has the number of an error of the operating system.
#[test]
fn system_errors_are_in_plain_words() {
    let folder = folder();
    let cases: [&[&str]; 9] = [
        &["check", "nowhere.json"],
        &["check", "survey.json/inside.json"],
        &["convert", "survey.json", "-o", "out/"],
        &["convert", "survey.json", "-o", "survey.json/x.xml"],
        &["archive", "pack", "survey.json", "-o", "none/all.jsonl"],
        &["check", "survey.json", "--baseline", "nowhere.json"],
        &["check", "survey.json", "--baseline", "table.csv"],
        &["check", "survey.json", "--baseline", "."],
        &["fix", "survey.json", "-o", "out/"],
    ];
    let system: [&[&str]; 3] = [
        &["convert", "survey.json", "-o", "/proc/x.xml"],
        &["check", "/proc/self/mem"],
        &["archive", "pack", "survey.json", "-o", "/proc/all.jsonl"],
    ];
    let system = system.iter().filter(|_| cfg!(target_os = "linux"));
    for arguments in cases.iter().chain(system) {
        let output = run(folder.path(), arguments);
        assert_eq!(status(&output), 2, "{arguments:?}: {}", stdout(&output));
        let printed = stderr(&output);
        assert!(!printed.contains("os error"), "{arguments:?}: {printed}");
        assert!(!printed.contains("EOF while"), "{arguments:?}: {printed}");
    }
    let output = run(folder.path(), &["convert", "survey.json", "-o", "out/", "--to", "xml"]);
    assert!(stderr(&output).contains("out/: is a folder; name a file"), "{}", stderr(&output));
    let output = run(folder.path(), &["check", "survey.json", "--baseline", "table.csv"]);
    assert!(stderr(&output).contains("is not a report in JSON"), "{}", stderr(&output));
}

/// Every option that a message names is one of the command that printed it.
#[test]
fn only_options_of_the_command_are_advised() {
    let folder = folder();
    for command in ["fix", "digest", "grade", "check", "migrate"] {
        let help = stdout(&run(folder.path(), &[command, "--help"]));
        let printed = stderr(&run(folder.path(), &[command, "table.csv"]));
        let named = printed.split_whitespace().filter(|word| word.starts_with("--"));
        for option in named.map(|word| word.trim_end_matches([',', ';', '.', ')'])) {
            let elsewhere = printed.contains("obvert convert");
            assert!(help.contains(option) || elsewhere, "{command} names {option}: {printed}");
        }
    }
}

#[test]
fn broken_json_is_shown_with_its_line() {
    let folder = folder();
    let survey = read("crates/check/src/minimal.obvert.json");
    let broken = survey.replacen("\"language\"", "// why\n  \"language\"", 1);
    std::fs::write(folder.path().join("broken.json"), broken).expect("write");
    for command in
        [&["check", "broken.json"][..], &["fix", "broken.json"], &["digest", "broken.json"]]
    {
        let output = run(folder.path(), command);
        assert_eq!(status(&output), 2);
        let printed = stderr(&output);
        let lines: Vec<&str> = printed.lines().collect();
        let at = lines.iter().position(|line| line.contains(" | // why"));
        let at = at.unwrap_or_else(|| panic!("{command:?}: {printed}"));
        assert!(lines[at + 1].trim_end().ends_with('^'), "{command:?}: {printed}");
    }
    // A report has the message alone.
    let output = run(folder.path(), &["check", "broken.json", "--format", "json"]);
    let report: serde_json::Value = serde_json::from_slice(&output.stdout).expect("json");
    let error = report["documents"][0]["error"].as_str().expect("an error");
    assert!(!error.contains('\n'), "{error}");
}

/// A folder is all its surveys, for every command that takes several.
#[test]
fn a_folder_is_all_its_surveys() {
    let folder = folder();
    let surveys = folder.path().join("surveys");
    std::fs::create_dir(&surveys).expect("folder");
    for (name, id) in [("a.json", "urn:a"), ("b.json", "urn:b")] {
        let survey = read("crates/check/src/minimal.obvert.json");
        let survey = survey.replacen("urn:uuid:3f0e7a52-9d27-4a8e-8a63-5a1c2f1f7b10", id, 1);
        std::fs::write(surveys.join(name), survey).expect("write");
    }
    let output = run(folder.path(), &["check", "surveys", "--today", "2026-06-15"]);
    assert_eq!(status(&output), 0, "{}{}", stdout(&output), stderr(&output));
    for name in ["a.json", "b.json"] {
        assert!(stdout(&output).contains(name), "{}", stdout(&output));
    }
    assert_eq!(stdout(&run(folder.path(), &["digest", "surveys"])).lines().count(), 2);
    let output = run(folder.path(), &["archive", "pack", "surveys", "-o", "all.jsonl"]);
    assert!(stderr(&output).contains("2 surveys packed"), "{}", stderr(&output));
    let output = run(folder.path(), &["convert", "surveys", "-o", "out.xml"]);
    assert_eq!(status(&output), 2);
    assert!(stderr(&output).contains("a folder with 2 surveys"), "{}", stderr(&output));
}

#[test]
fn a_survey_that_is_named_twice_is_checked_once() {
    let folder = folder();
    let check = |files: &[&str]| {
        run(folder.path(), &[&["check"], files, &["--today", "2026-06-15"]].concat())
    };
    let (once, twice) = (check(&["survey.json"]), check(&["survey.json", "./survey.json"]));
    assert_eq!(stdout(&once), stdout(&twice));
    assert!(stderr(&twice).contains("named more than once"), "{}", stderr(&twice));
}

#[test]
fn an_archive_is_named_as_one() {
    let folder = folder();
    for name in ["all.zip", "all.json", "all"] {
        let output = run(folder.path(), &["archive", "pack", "survey.json", "-o", name]);
        assert_eq!(status(&output), 2);
        assert!(stderr(&output).contains("end its name in .jsonl"), "{}", stderr(&output));
        assert!(!folder.path().join(name).exists());
    }
}

/// What is drafted from surveys with errors may demand their mistakes.
#[test]
fn a_draft_says_that_its_surveys_have_errors() {
    let folder = folder();
    let survey = read("examples/data/larkmoor-rejected.obvert.json");
    std::fs::write(folder.path().join("rejected.json"), survey).expect("write");
    let draft = ["profile", "draft", "--today", "2026-06-15", "--id", "x"];
    let output = run(folder.path(), &[&draft[..], &["rejected.json"]].concat());
    assert!(stderr(&output).contains("rejected.json: has 54 errors"), "{}", stderr(&output));
    let output = run(folder.path(), &[&draft[..], &["survey.json"]].concat());
    assert!(!stderr(&output).contains("error"), "{}", stderr(&output));
}

/// A run whose direction and structures are both the wrong way round contradicts other rows; the
/// findings name the cause.
#[test]
fn a_run_that_is_the_wrong_way_round_is_called_so() {
    let folder = folder();
    let survey: serde_json::Value =
        serde_json::from_str(&read("examples/data/larkmoor.obvert.json")).expect("JSON");
    // Runs with locates, with laterals in the record, or with a run from the other end.
    for run in ["R-01", "R-02", "R-03", "R-04", "R-08", "R-11", "R-12"] {
        let mut turned = survey.clone();
        let rows = turned["runs"].as_array_mut().expect("runs");
        let row = rows.iter_mut().find(|row| row["id"] == run).expect("the run");
        let ends = (row["from"].take(), row["to"].take());
        (row["to"], row["from"]) = ends;
        let upstream = row["direction"] == "upstream";
        row["direction"] = (if upstream { "downstream" } else { "upstream" }).into();
        std::fs::write(folder.path().join("turned.json"), turned.to_string()).expect("write");
        let text = stdout(&run_of(folder.path()));
        assert!(text.replace('\n', " ").contains("the wrong way"), "{run}: {text}");
    }
}

fn run_of(folder: &Path) -> Output {
    run(folder, &["check", "turned.json"])
}
