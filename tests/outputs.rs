//! The formats of a report: on standard output, in files, and compared with an earlier report.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use std::path::Path;

use serde_json::{Value, json};
use support::{obvert, obvert_in, read, root, status, stderr, stdout};

const CLEAN: &str = "larkmoor.obvert.json";
const REJECTED: &str = "larkmoor-rejected.obvert.json";
const TODAY: [&str; 2] = ["--today", "2026-06-15"];

/// A folder with the two surveys in it.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("folder");
    for survey in [CLEAN, REJECTED] {
        std::fs::copy(root().join("examples/data").join(survey), folder.path().join(survey))
            .expect("copy");
    }
    folder
}

fn check(folder: &Path, arguments: &[&str]) -> std::process::Output {
    obvert_in(folder, &[&["check"], arguments, &TODAY].concat())
}

fn file(folder: &Path, name: &str) -> String {
    std::fs::read_to_string(folder.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

fn complaints(schema: &Value, instance: &Value) -> Vec<String> {
    let validator = jsonschema::validator_for(schema).expect("the schema compiles");
    validator
        .iter_errors(instance)
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect()
}

/// The same survey in every format that `check` reads.
fn sources(folder: &Path) -> Vec<&'static str> {
    for (target, format) in [
        ("tables", "csv"),
        ("tables.zip", "csv-zip"),
        ("survey.xml", "xml"),
        ("survey.xlsx", "xlsx"),
        ("s.gpkg", "geopackage"),
    ] {
        let output = obvert_in(folder, &["convert", REJECTED, "-o", target, "--to", format]);
        assert_eq!(status(&output), 0, "{}", stderr(&output));
    }
    let broken = file(folder, CLEAN).replacen(
        "\"direction\": \"downstream\"",
        "\"direction\": \"down\", \"spede\": 1",
        2,
    );
    std::fs::write(folder.join("broken.json"), broken).expect("write");
    vec![
        CLEAN,
        REJECTED,
        "tables",
        "tables.zip",
        "survey.xml",
        "survey.xlsx",
        "s.gpkg",
        "broken.json",
        "no-such-file.json",
    ]
}

/// The schema is that of OASIS; its source is in `tests/interop/sarif/README.md`.
#[test]
fn sarif_is_valid_by_the_official_schema() {
    // The pattern of a language has an unpaired bracket, which ECMA-262 accepts and this validator
    // does not.
    let schema = read("tests/interop/sarif/sarif-schema-2.1.0.json");
    assert_eq!(schema.matches("[a-zA-Z]{2}]?$").count(), 2);
    let schema: Value =
        serde_json::from_str(&schema.replace("[a-zA-Z]{2}]?$", "[a-zA-Z]{2}\\\\]?$"))
            .expect("json");
    let folder = folder();
    let sources = sources(folder.path());
    let all: Vec<&[&str]> = sources.chunks(1).chain([&sources[..]]).collect();
    for files in all {
        let output = check(folder.path(), &[files, &["--format", "sarif"]].concat());
        let log: Value = serde_json::from_slice(&output.stdout).expect("one JSON value");
        assert_eq!(complaints(&schema, &log), Vec::<String>::new(), "{files:?}");
        let results = log["runs"][0]["results"].as_array().expect("results").len();
        let json: Value = serde_json::from_slice(
            &check(folder.path(), &[files, &["--format", "json"]].concat()).stdout,
        )
        .expect("json");
        assert_eq!(results, json["findings"].as_array().expect("findings").len(), "{files:?}");
    }
    // The validator rejects an invalid log.
    let output = check(folder.path(), &[REJECTED, "--format", "sarif"]);
    let mut log: Value = serde_json::from_slice(&output.stdout).expect("json");
    log["runs"][0]["results"][0]["level"] = json!("grave");
    assert!(!complaints(&schema, &log).is_empty());
}

#[test]
fn a_zip_is_the_parent_artifact_of_its_tables() {
    let folder = folder();
    sources(folder.path());
    let output = check(folder.path(), &["tables.zip", "--format", "sarif"]);
    let log: Value = serde_json::from_slice(&output.stdout).expect("json");
    let results = log["runs"][0]["results"].as_array().expect("results");
    let places = || results.iter().map(|result| &result["locations"][0]["physicalLocation"]);
    let structure = |place: &&Value| place["artifactLocation"]["uri"] == "/structures.csv";
    let place = places().find(|place| structure(place) && place["region"]["startLine"] == 16);
    let place =
        place.unwrap_or_else(|| panic!("{:#?}", places().filter(structure).collect::<Vec<_>>()));
    let index = place["artifactLocation"]["index"].as_u64().expect("an index") as usize;
    assert_eq!(log["runs"][0]["artifacts"][index]["parentIndex"], 0);
}

#[test]
fn every_line_is_valid_by_its_schema() {
    let schema: Value =
        serde_json::from_str(&stdout(&obvert(&["schema", "report-line"]))).expect("schema");
    let folder = folder();
    let output = check(folder.path(), &[REJECTED, CLEAN, "no-such-file.json", "--format", "jsonl"]);
    let lines: Vec<Value> = stdout(&output)
        .lines()
        .map(|line| serde_json::from_str(line).expect("a JSON value a line"))
        .collect();
    for line in &lines {
        assert_eq!(complaints(&schema, line), Vec::<String>::new(), "{line}");
    }
    let kinds: Vec<&str> = lines.iter().filter_map(|line| line["line"].as_str()).collect();
    assert_eq!(kinds.first(), Some(&"report"));
    assert_eq!(kinds.last(), Some(&"end"));
    let end = lines.last().expect("a line");
    assert_eq!(end["documents"], 3);
    assert_eq!(end["unread"], 1);
    assert_eq!(end["listed"].as_u64(), Some(lines.len() as u64 - 2 - 3));
}

#[test]
fn one_check_writes_several_formats() {
    let folder = folder();
    let formats = ["text", "json", "jsonl", "sarif", "junit", "github", "csv", "html"];
    let mut arguments = vec![REJECTED, CLEAN];
    let also: Vec<String> =
        formats.iter().map(|format| format!("{format}=report.{format}")).collect();
    for output in &also {
        arguments.extend(["--also", output.as_str()]);
    }
    let output = check(folder.path(), &arguments);
    assert_eq!(status(&output), 1, "{}", stderr(&output));
    for format in formats {
        // The file is the same as the output of --format, byte for byte.
        let alone = check(folder.path(), &[REJECTED, CLEAN, "--format", format]);
        assert_eq!(file(folder.path(), &format!("report.{format}")), stdout(&alone), "{format}");
    }
    assert!(stdout(&output).ends_with(&file(folder.path(), "report.text")));
    let coloured =
        check(folder.path(), &[REJECTED, "--colour", "always", "--also", "text=plain.txt"]);
    assert!(
        stdout(&coloured).contains('\u{1b}')
            && !file(folder.path(), "plain.txt").contains('\u{1b}')
    );
}

#[test]
fn files_are_overwritten_only_on_request_and_only_completely() {
    let folder = folder();
    std::fs::write(folder.path().join("report.html"), "mine").expect("write");
    let output =
        check(folder.path(), &[CLEAN, "--also", "json=new.json", "--also", "html=report.html"]);
    assert_eq!(status(&output), 2);
    assert!(
        stderr(&output).contains("report.html: already exists; give --replace to overwrite it")
    );
    assert_eq!(stdout(&output), "", "refused before the check");
    assert_eq!(file(folder.path(), "report.html"), "mine");
    assert!(!folder.path().join("new.json").exists());
    let output = check(folder.path(), &[CLEAN, "--also", "html=report.html", "--replace"]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    assert!(file(folder.path(), "report.html").starts_with("<!DOCTYPE html>"));
    let left: Vec<_> = std::fs::read_dir(folder.path())
        .expect("folder")
        .map(|entry| entry.expect("entry").file_name().to_string_lossy().into_owned())
        .filter(|name| name.starts_with(".obvert-"))
        .collect();
    assert_eq!(left, Vec::<String>::new(), "no temporary file is left");
}

#[test]
fn unwritable_outputs_are_refused_before_the_check() {
    let folder = folder();
    std::fs::create_dir(folder.path().join("sub")).expect("folder");
    let rejected = format!("json={REJECTED}");
    let dotted = format!("json=./{REJECTED}");
    for (arguments, says) in [
        (
            &["--also", "html"][..],
            "expected FORMAT=FILE, such as html=report.html; the formats are text, json, jsonl",
        ),
        (&["--also", "pdf=report.pdf"], "expected FORMAT=FILE"),
        (&["--also", "html="], "expected FORMAT=FILE"),
        (&["--also", "html=-"], "standard output is taken by --format; name a file"),
        (&["--also", "html=a", "--also", "csv=a"], "another --also names that file"),
        (&["--also", "html=a", "--also", "csv=sub/../a"], "another --also names that file"),
        (&["--also", &rejected, "--replace"], "that file is an input of this command"),
        (&["--also", &dotted, "--replace"], "that file is an input of this command"),
        (&["--also", "html=sub", "--replace"], "sub: is a folder; name a file"),
        (
            &["--also", "html=missing/report.html"],
            "missing/report.html: the folder missing does not exist; create it first",
        ),
        (&["--baseline", "no-such-report.json"], "no-such-report.json: there is no such file"),
        (&["--baseline", CLEAN], "is not a report"),
    ] {
        let output = check(folder.path(), &[&[REJECTED], arguments].concat());
        assert_eq!(status(&output), 2, "{arguments:?}");
        assert!(stderr(&output).contains(says), "{arguments:?}: {}", stderr(&output));
        assert_eq!(stdout(&output), "", "{arguments:?}: refused before the check");
    }
}

#[test]
fn junit_fails_at_the_denied_severity() {
    let folder = folder();
    let failures = |deny: &str| -> usize {
        let text = stdout(&check(folder.path(), &[REJECTED, "--format", "junit", "--deny", deny]));
        text.split_once("failures=\"")
            .and_then(|(_, rest)| rest.split_once('"')?.0.parse().ok())
            .expect("a number")
    };
    let json: Value =
        serde_json::from_slice(&check(folder.path(), &[REJECTED, "--format", "json"]).stdout)
            .expect("json");
    let rules = |severities: &[&str]| {
        let rules = json["rules"].as_array().expect("rules").iter();
        rules
            .filter(|rule| severities.contains(&rule["severity"].as_str().expect("a word")))
            .count()
    };
    assert_eq!(failures("error"), rules(&["error"]));
    assert_eq!(failures("warning"), rules(&["error", "warning"]));
    assert_eq!(failures("note"), rules(&["error", "warning", "note"]));
}

#[test]
fn only_new_findings_make_the_check_fail() {
    let folder = folder();
    check(folder.path(), &[REJECTED, "--also", "json=before.json"]);
    let compared = |arguments: &[&str]| {
        check(folder.path(), &[arguments, &["--baseline", "before.json"]].concat())
    };
    let before: Value = serde_json::from_str(&file(folder.path(), "before.json")).expect("json");
    let all = before["findings"].as_array().expect("findings").len();
    let output = compared(&[REJECTED]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    assert_eq!(
        stdout(&output),
        format!(
            "{REJECTED}: no new findings\ncompared with before.json: {all} already known, 0 \
             resolved\nmedia files were not opened: none of the 166 media files was found in .\n"
        )
    );
    // The same survey as tables, with a row in front of the others: rows and lines differ, but
    // findings do not.
    assert_eq!(
        status(&obvert_in(folder.path(), &["convert", REJECTED, "-o", "tables", "--to", "csv"])),
        0
    );
    let table = file(folder.path(), "tables/structures.csv");
    let (headings, rows) = table.split_once('\n').expect("rows");
    let fresh = format!("LM-900,manhole{}\r\n", ",".repeat(headings.matches(',').count() - 1));
    std::fs::write(
        folder.path().join("tables/structures.csv"),
        format!("{headings}\n{fresh}{rows}"),
    )
    .expect("write");
    let output = compared(&["tables"]);
    assert_eq!(status(&output), 0, "{}", stdout(&output));
    assert!(
        stdout(&output).contains(&format!("{all} already known, 0 resolved")),
        "{}",
        stdout(&output)
    );
    // A new mistake, and one corrected.
    let now = file(folder.path(), REJECTED)
        .replacen("\"ground\": 1469.1", "\"ground\": 1479.1", 1)
        .replacen("\"depth\": 10.1", "\"depth\": 101", 1);
    std::fs::write(folder.path().join("now.json"), now).expect("write");
    let output = compared(&["now.json"]);
    let text = stdout(&output);
    assert_eq!(status(&output), 0, "two warnings are below the threshold: {text}");
    assert!(
        text.contains("[depth-contradicts-elevations]") && text.contains("structure LM-102"),
        "{text}"
    );
    assert!(!text.contains("[clock-range]"), "known findings are not shown");
    assert_eq!(status(&compared(&["now.json", "--deny", "warning"])), 1);
    let json: Value =
        serde_json::from_slice(&compared(&["now.json", "--format", "json"]).stdout).expect("json");
    assert_eq!(json["totals"]["error"], 0, "{}", json["totals"]);
    assert_eq!(json["baseline"]["resolved"], 1, "{}", json["baseline"]);
    assert_eq!(json["baseline"]["file"], "before.json");
}

/// `--all` lists every finding, in every format.
#[test]
fn all_removes_the_limit() {
    let folder = folder();
    let mut document: Value = serde_json::from_str(&file(folder.path(), CLEAN)).expect("json");
    let row = document["runs"][0]["observations"][5].clone();
    let rows = document["runs"][0]["observations"].as_array_mut().expect("rows");
    for number in 0..1200 {
        let mut row = row.clone();
        row["id"] = json!(format!("x{number}"));
        row["clock"] = json!({ "at": 3.2 });
        rows.insert(6, row);
    }
    std::fs::write(folder.path().join("many.json"), document.to_string()).expect("write");
    let total = |arguments: &[&str]| -> (u64, u64) {
        let output =
            check(folder.path(), &[&["many.json", "--format", "json"], arguments].concat());
        let json: Value = serde_json::from_slice(&output.stdout).expect("json");
        let rules = json["rules"].as_array().expect("rules").iter();
        let rule = rules.clone().find(|rule| rule["rule"] == "clock-range").expect("the rule");
        (rule["listed"].as_u64().expect("a number"), rule["total"].as_u64().expect("a number"))
    };
    assert_eq!(total(&[]), (1000, 1200));
    assert_eq!(total(&["--all"]), (1200, 1200));
    let capped = stdout(&check(folder.path(), &["many.json", "--format", "html"]));
    assert!(capped.contains("<code>clock-range</code>: 200 of 1,200 shown"));
    let all = stdout(&check(folder.path(), &["many.json", "--format", "html", "--all"]));
    assert!(!all.contains("Findings that are not listed"));
}

#[test]
fn the_help_has_the_caution() {
    let help = stdout(&obvert(&["check", "--help"]));
    let flat = help.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains(obvert::check::output::CAUTION), "{help}");
}
