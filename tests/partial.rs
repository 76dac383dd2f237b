//! A document with structural problems is checked as far as it can be read. The problems are
//! reported, each with its pipe and run. All findings of rules are also true of the undamaged
//! document, and one damaged value does not hide most of them.
//!
//! The damage is at random places: a value of another type, an unknown word, `null`, an empty text,
//! a misspelt key. `DAMAGE=500` makes 500 cases, `DAMAGE_SEED=7` other ones.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use std::collections::BTreeSet;

use obvert::check::{Checker, Finding, Report, Settings};
use obvert::model::read::ProblemKind;
use serde_json::{Value, json};
use support::read;

const CLEAN: &str = "examples/data/larkmoor.obvert.json";
const REJECTED: &str = "examples/data/larkmoor-rejected.obvert.json";

fn document(path: &str) -> Value {
    serde_json::from_str(&read(path)).expect("a document")
}

fn check(document: &Value) -> Report {
    let settings =
        Settings::default().with_today("2026-06-15".parse().expect("a date")).with_keep(usize::MAX);
    Checker::new(settings).expect("settings").check(document.to_string().as_bytes()).expect("JSON")
}

fn is_structural(rule: &str) -> bool {
    ProblemKind::ALL.iter().any(|kind| kind.as_str() == rule)
}

/// The findings of rules, by rule and location.
fn by_rules(report: &Report) -> BTreeSet<(String, String)> {
    let rules = report.findings.iter().filter(|finding| !is_structural(&finding.rule));
    rules.map(|finding| (finding.rule.to_string(), finding.subject.path.clone())).collect()
}

fn structural(report: &Report) -> Vec<(&str, &str)> {
    let found = report.findings.iter().filter(|finding| is_structural(&finding.rule));
    found.map(|finding| (&*finding.rule, finding.subject.path.as_str())).collect()
}

fn number(name: &str, default: usize) -> usize {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(default)
}

fn pointers(value: &Value, at: &str, all: &mut Vec<String>) {
    let mut step = |key: &str, value: &Value| {
        let pointer = format!("{at}/{key}");
        all.push(pointer.clone());
        pointers(value, &pointer, all);
    };
    match value {
        Value::Object(object) => object.iter().for_each(|(key, value)| step(key, value)),
        Value::Array(items) => {
            items.iter().enumerate().for_each(|(row, value)| step(&row.to_string(), value))
        }
        _ => {}
    }
}

/// Damages one value; `None` if the kind of damage does not apply to it.
fn spoil(document: &mut Value, pointer: &str, kind: usize) -> Option<()> {
    if kind == 4 {
        let (parent, key) = pointer.rsplit_once('/')?;
        let object = document.pointer_mut(parent)?.as_object_mut()?;
        let value = object.remove(key)?;
        object.insert(format!("{key}e"), value);
        return Some(());
    }
    let value = document.pointer_mut(pointer)?;
    *value = match (kind, &*value) {
        (0, Value::Number(number)) => json!(number.to_string().replace('.', ",")),
        (0, Value::String(_)) => json!(7),
        (0, _) => json!("x"),
        (1, _) => Value::Null,
        (2, Value::String(_)) => json!(""),
        (3, Value::String(word)) => json!(format!("{word}?")),
        _ => return None,
    };
    Some(())
}

struct Spoiled {
    place: String,
    report: Report,
    /// The findings in the document without the value, if the damage means that there is no value.
    without: BTreeSet<(String, String)>,
}

/// A number of damaged documents with a structural problem.
fn spoiled(complete: &Value, cases: usize) -> Vec<Spoiled> {
    let mut random = fastrand::Rng::with_seed(number("DAMAGE_SEED", 1) as u64);
    let mut places = Vec::new();
    pointers(complete, "", &mut places);
    let needed = |place: &String| {
        !["/obvert", "/units", "/coding"].iter().any(|head| place.starts_with(head))
    };
    places.retain(needed);
    // Runs have most of the values, so the tables of the head get a fixed share.
    let head: Vec<String> =
        places.iter().filter(|place| !place.contains("/observations/")).cloned().collect();
    let mut all = Vec::new();
    while all.len() < cases {
        let from = if all.len() % 2 == 0 { &places } else { &head };
        let place = random.choice(from).expect("a place").clone();
        let mut document = complete.clone();
        let kind = random.usize(0..5);
        if spoil(&mut document, &place, kind).is_none() {
            continue;
        }
        let report = check(&document);
        if structural(&report).is_empty() {
            continue;
        }
        let mut without = BTreeSet::new();
        if matches!(kind, 1 | 2) {
            let (parent, key) = place.rsplit_once('/').expect("a place below the document");
            if let Some(object) = document.pointer_mut(parent).and_then(Value::as_object_mut) {
                object.remove(key);
                without = by_rules(&check(&document));
            }
        }
        all.push(Spoiled { place, report, without });
    }
    all
}

#[test]
fn a_damaged_clean_survey_has_no_findings_of_rules() {
    let complete = document(CLEAN);
    assert_eq!(check(&complete).totals.all(), 0);
    let mut wrong = Vec::new();
    for Spoiled { place, report, without } in spoiled(&complete, number("DAMAGE", 60)) {
        for (rule, path) in by_rules(&report).difference(&without) {
            wrong.push(format!("{place} spoiled: {rule} at {path}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn findings_in_a_damaged_survey_are_true_and_most_remain() {
    let complete = document(REJECTED);
    let expected = by_rules(&check(&complete));
    assert!(expected.len() > 100, "{}", expected.len());
    let (mut wrong, mut kept, mut cases) = (Vec::new(), 0, 0);
    for Spoiled { place, report, without } in spoiled(&complete, number("DAMAGE", 60)) {
        let found = by_rules(&report);
        for (rule, path) in found.difference(&expected).filter(|found| !without.contains(found)) {
            wrong.push(format!("{place} spoiled: {rule} at {path}"));
        }
        kept += found.len();
        cases += 1;
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let share = kept as f64 / (cases * expected.len()) as f64;
    println!(
        "{:.1} % of the findings of the undamaged survey are also found in the damaged one",
        100.0 * share
    );
    assert!(share > 0.85, "{share}");
}

#[test]
fn a_problem_is_reported_with_its_pipe_run_and_observation() {
    let mut spoiled = document(CLEAN);
    spoiled["runs"][2]["observations"][4]["quantities"] = json!("5");
    spoiled["pipes"][3]["shape"] = json!("round");
    spoiled["runs"][1]["weather"] = json!("sunny");
    spoiled["ratings"][0]["aspect"] = json!("structure");
    spoiled["structures"][0]["kind"] = json!("mh");
    let report = check(&spoiled);
    let messages: Vec<_> = report
        .findings
        .iter()
        .map(|finding| {
            let text = |text: &Option<String>| text.clone().unwrap_or_default();
            let ids = [
                &finding.subject.pipe,
                &finding.subject.run,
                &finding.subject.observation,
                &finding.subject.record,
            ]
            .map(text);
            (finding.subject.path.clone(), ids, finding.subject.distance)
        })
        .collect();
    let of =
        |path: &str, ids: [&str; 4], distance| (path.to_owned(), ids.map(str::to_owned), distance);
    let id = |pointer: &str| spoiled.pointer(pointer).and_then(Value::as_str).expect("an id");
    assert_eq!(
        messages,
        [
            of("/structures/0/kind", ["", "", "", id("/structures/0/id")], None),
            of("/pipes/3/shape", [id("/pipes/3/id"), "", "", ""], None),
            of("/ratings/0/aspect", [id("/ratings/0/pipe"), "", "", id("/ratings/0/id")], None),
            of("/runs/1/weather", [id("/runs/1/pipe"), id("/runs/1/id"), "", ""], None),
            of(
                "/runs/2/observations/4/quantities",
                [id("/runs/2/pipe"), id("/runs/2/id"), id("/runs/2/observations/4/id"), ""],
                spoiled["runs"][2]["observations"][4]["at"].as_f64()
            ),
        ]
    );
    // So that a page can show it with its pipe.
    let pipes: Vec<&str> =
        report.documents[0].affected_pipes.iter().map(|affected| affected.pipe.as_str()).collect();
    for pipe in [id("/pipes/3/id"), id("/runs/1/pipe"), id("/runs/2/pipe")] {
        assert!(pipes.contains(&pipe), "{pipe} in {pipes:?}");
    }
}

#[test]
fn rows_after_a_row_that_is_left_out_keep_their_numbers() {
    let mut spoiled = document(CLEAN);
    spoiled["runs"][0]["direction"] = json!("down");
    spoiled["runs"][2]["observations"][1]["at"] = json!("12,3");
    spoiled["runs"][2]["observations"][4]["code"] = json!("crak.longitudinal");
    let report = check(&spoiled);
    assert_eq!(
        structural(&report),
        [("unknown-word", "/runs/0/direction"), ("wrong-type", "/runs/2/observations/1/at")]
    );
    let expected = ("code-unknown".to_owned(), "/runs/2/observations/4/code".to_owned());
    assert_eq!(by_rules(&report), BTreeSet::from([expected]));
    let left_out: Vec<_> =
        report.documents[0].left_out.iter().map(|out| (out.path.as_str(), out.row)).collect();
    assert_eq!(left_out, [("/runs/0", true), ("/runs/2/observations/1", true)]);
}

/// A misspelt required key is one finding, not an unknown key and a missing key.
#[test]
fn a_misspelt_key_is_one_finding() {
    let mut spoiled = document(CLEAN);
    let run = spoiled["runs"][4].as_object_mut().expect("a run");
    let direction = run.remove("direction").expect("a direction");
    run.insert("Direction".to_owned(), direction);
    let report = check(&spoiled);
    assert_eq!(structural(&report), [("unknown-key", "/runs/4/Direction")]);
    let help = report.findings[0].help.as_deref().expect("help");
    assert_eq!(help, "Did you mean \"direction\"? The key \"direction\" is missing");
}

/// `null` means that there is no value. Rules report a missing value, and nothing is withheld.
#[test]
fn null_is_no_value() {
    let mut spoiled = document(CLEAN);
    for run in spoiled["runs"].as_array_mut().expect("runs") {
        for row in run["observations"].as_array_mut().expect("rows") {
            row["joint"] = row.get("joint").cloned().unwrap_or(Value::Null);
        }
        run["surveyed"] = Value::Null;
    }
    let report = check(&spoiled);
    assert_eq!(report.documents[0].withheld, 0);
    assert!(report.not_run.is_empty(), "{:?}", report.not_run);
    let mut without = document(CLEAN);
    without["runs"].as_array_mut().expect("runs").iter_mut().for_each(|run| {
        run.as_object_mut().expect("a run").remove("surveyed");
    });
    assert_eq!(by_rules(&report), by_rules(&check(&without)));
}

#[test]
fn the_report_lists_the_rules_that_could_not_be_run() {
    let why = |document: &Value, rule: &str| {
        let report = check(document);
        let not_run =
            report.not_run.iter().find(|not_run| not_run.rules.iter().any(|name| name == rule));
        not_run.map(|not_run| not_run.why.clone())
    };
    let mut spoiled = document(CLEAN);
    spoiled["runs"][0]["direction"] = json!("down");
    assert_eq!(why(&spoiled, "runs-missing").as_deref(), Some("/runs/0 was left out"));
    assert_eq!(why(&spoiled, "code-unknown"), None);
    let mut spoiled = document(CLEAN);
    spoiled["crs"] = json!("6594");
    assert_eq!(why(&spoiled, "locates-too-far-apart").as_deref(), Some("/crs could not be read"));
    let mut spoiled = document(CLEAN);
    spoiled["issued"] = json!("2026-05-06T16:20:00");
    assert_eq!(why(&spoiled, "issued-before-run").as_deref(), Some("/issued could not be read"));
    assert_eq!(by_rules(&check(&spoiled)), BTreeSet::new());
    let mut spoiled = document(CLEAN);
    spoiled["units"]["length"] = json!("feet");
    let needed = Some("/units/length could not be read, and every rule needs it");
    assert_eq!(why(&spoiled, "code-unknown").as_deref(), needed);
}

/// In tables an orphan row is one problem, and the rules check the rest.
#[test]
fn tables_are_checked_as_far_as_they_can_be_read() {
    let folder = tempfile::tempdir().expect("folder");
    let made = support::obvert_in(
        folder.path(),
        &["convert", &root(REJECTED), "-o", "tables", "--to", "csv"],
    );
    assert_eq!(support::status(&made), 0, "{}", support::stderr(&made));
    let checked = || {
        let output = support::obvert_in(
            folder.path(),
            &["check", "tables", "--today", "2026-06-15", "--format", "json"],
        );
        Report::read(&output.stdout).expect("a report")
    };
    // By line, since rows get other numbers if an earlier row was left out.
    let by_lines = |report: &Report| -> BTreeSet<(String, String, usize)> {
        let place = |finding: &Finding| {
            finding.at.as_ref().map_or((String::new(), 0), |at| (at.file.clone(), at.line))
        };
        let findings = report.findings.iter().filter(|finding| !is_structural(&finding.rule));
        findings
            .map(|finding| (finding.rule.to_string(), place(finding).0, place(finding).1))
            .collect()
    };
    let complete = by_lines(&checked());
    let file = folder.path().join("tables/observations.csv");
    let text = std::fs::read_to_string(&file).expect("table");
    std::fs::write(&file, text.replacen("R-02,2,", "R-o2,2,", 1).replacen("R-05,3,", "R-99,3,", 1))
        .expect("write");
    let report = checked();
    let unattached: Vec<_> = report
        .findings
        .iter()
        .filter(|finding| finding.rule == "orphan-row")
        .map(|finding| (finding.message.clone(), finding.at.clone().expect("a place")))
        .collect();
    assert_eq!(unattached.len(), 2, "{unattached:?}");
    let place = |id: &str, line: usize| {
        let message =
            format!("runs.csv has no run \"{id}\"; correct the run here, or add it there");
        let (_, at) =
            unattached.iter().find(|(found, _)| *found == message).expect("a finding of the row");
        assert_eq!(
            (at.file.as_str(), at.line, at.column),
            ("tables/observations.csv", line, Some(1)),
            "{id}"
        );
    };
    let line =
        |start: &str| 1 + text.lines().position(|line| line.starts_with(start)).expect("the row");
    place("R-o2", line("R-02,2,"));
    place("R-99", line("R-05,3,"));
    assert!(by_rules(&report).len() > 50, "{}", by_rules(&report).len());
    assert_eq!(
        by_lines(&report).difference(&complete).collect::<Vec<_>>(),
        [] as [&(String, String, usize); 0]
    );
}

/// A missing table is one finding, not one for each of the hundreds of rows that refer to its rows.
#[test]
fn a_missing_table_is_one_finding() {
    let folder = tempfile::tempdir().expect("a folder");
    let tables = folder.path().join("tables").display().to_string();
    let made = support::obvert(&["convert", CLEAN, "-o", &tables, "--to", "csv"]);
    assert_eq!(support::status(&made), 0, "{}", support::stderr(&made));
    std::fs::remove_file(folder.path().join("tables/observations.csv")).expect("removed");
    let checked = support::obvert(&["check", &tables, "--today", "2026-06-15"]);
    let message = support::stdout(&checked) + &support::stderr(&checked);
    for part in [
        "observations.csv is missing, and 267 rows of quantities.csv, 410 rows of observation_media.csv belong to its rows",
        "1 table that could not be read was left out",
        "tables: 1 error\n",
    ] {
        assert!(message.contains(part), "{part}: {message}");
    }
}

/// An additional column and an additional file are one finding each, and the rules check the rest
/// as usual.
#[test]
fn additional_columns_and_files_hide_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let made = support::obvert_in(
        folder.path(),
        &["convert", &root(REJECTED), "-o", "tables", "--to", "csv"],
    );
    assert_eq!(support::status(&made), 0, "{}", support::stderr(&made));
    let checked = || {
        let arguments = ["check", "tables", "--today", "2026-06-15", "--all", "--format", "json"];
        Report::read(&support::obvert_in(folder.path(), &arguments).stdout).expect("a report")
    };
    let findings = |report: &Report| -> BTreeSet<(String, String)> {
        let findings = report.findings.iter().filter(|finding| !is_structural(&finding.rule));
        findings.map(|finding| (finding.rule.to_string(), finding.location())).collect()
    };
    let complete = checked();
    assert!(findings(&complete).len() > 100);
    let file = folder.path().join("tables/observations.csv");
    let text = std::fs::read_to_string(&file).expect("table");
    let wider = text.lines().enumerate().map(|(line, row)| match line {
        0 => format!("{row},crew\r\n"),
        _ => format!("{row},Heron\r\n"),
    });
    std::fs::write(&file, wider.collect::<String>()).expect("write");
    std::fs::write(folder.path().join("tables/hours.csv"), "day,hours\r\n1,8\r\n").expect("write");
    let report = checked();
    assert_eq!(findings(&report), findings(&complete));
    assert_eq!(report.not_run, complete.not_run);
    let own: Vec<_> =
        report.findings.iter().filter(|finding| is_structural(&finding.rule)).collect();
    let reported: BTreeSet<String> =
        own.iter().map(|finding| format!("{} {}", finding.location(), finding.message)).collect();
    let column = text.lines().next().map_or(0, |row| row.split(',').count()) + 1;
    let expected = [
        format!(
            "tables/observations.csv:1:{column} (column crew) unknown column \"crew\"; put your own data into \"extensions\", as JSON"
        ),
        "tables/hours.csv:1 this is not the name of a table, so its rows are not read; rename it, or remove it if it is not a table".to_owned(),
    ];
    assert_eq!(reported, BTreeSet::from(expected));
    // If a column is missing, the unknown one may be that column, so rules that depend on its cells
    // are skipped.
    std::fs::write(&file, text.replacen(",clock.at,", ",Uhr,", 1)).expect("write");
    let report = checked();
    assert!(findings(&report).len() > 80, "{}", findings(&report).len());
    // A value without a column is located at the first column.
    let messages = |report: &Report| -> BTreeSet<String> {
        let findings = report.findings.iter().filter(|finding| !is_structural(&finding.rule));
        findings
            .map(|finding| format!("{} {} {}", finding.rule, finding.subject.path, finding.message))
            .collect()
    };
    let new: Vec<_> = messages(&report).difference(&messages(&complete)).cloned().collect();
    assert_eq!(new, [] as [String; 0]);
    assert!(!findings(&report).iter().any(|(rule, _)| rule == "clock-required"));
    // With a misspelt heading the column is missing, so findings that depend on it would be false.
    std::fs::write(&file, text.replacen(",remark,", ",remarks,", 1)).expect("write");
    let report = checked();
    assert_eq!(findings(&report), BTreeSet::new());
}

/// The same in XML: unknown elements and attributes are findings and hide no other.
#[test]
fn additional_elements_hide_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let made = support::obvert_in(folder.path(), &["convert", &root(REJECTED), "-o", "s.xml"]);
    assert_eq!(support::status(&made), 0, "{}", support::stderr(&made));
    let checked = || {
        let arguments = ["check", "s.xml", "--today", "2026-06-15", "--all", "--format", "json"];
        Report::read(&support::obvert_in(folder.path(), &arguments).stdout).expect("a report")
    };
    // By message and row, since an additional element changes the lines.
    let findings = |report: &Report| -> BTreeSet<(String, String, String)> {
        let findings = report.findings.iter().filter(|finding| !is_structural(&finding.rule));
        findings.map(|f| (f.rule.to_string(), f.subject.path.clone(), f.message.clone())).collect()
    };
    let complete = checked();
    let text = std::fs::read_to_string(folder.path().join("s.xml")).expect("xml");
    let own = text.replacen("<remark>", "<squad>Heron</squad><remark>", 3).replacen(
        "<at>",
        "<at by=\"hand\">",
        1,
    );
    std::fs::write(folder.path().join("s.xml"), own).expect("write");
    let report = checked();
    // The element may be a misspelt clock reference, so a missing one is not reported in its row.
    let differ = findings(&report)
        .symmetric_difference(&findings(&complete))
        .map(|(rule, ..)| rule.clone())
        .collect::<Vec<_>>();
    assert_eq!(differ, ["clock-required"]);
    assert_eq!(report.not_run, complete.not_run);
    let unknown = report.findings.iter().filter(|finding| finding.rule == "unknown-key").count();
    assert_eq!(unknown, 4);
    // A misspelt element is missing: nothing new is found, and its row has no findings.
    std::fs::write(
        folder.path().join("s.xml"),
        text.replacen("<code>", "<coed>", 1).replacen("</code>", "</coed>", 1),
    )
    .expect("write");
    let report = checked();
    assert!(findings(&report).len() > 50);
    assert_eq!(findings(&report).difference(&findings(&complete)).count(), 0);
}

/// Rows that were pasted twice into a table are one finding with their row numbers, and count once.
#[test]
fn rows_that_were_pasted_twice_are_one_finding() {
    let folder = tempfile::tempdir().expect("a folder");
    let made = support::obvert_in(
        folder.path(),
        &["convert", &root(CLEAN), "-o", "tables", "--to", "csv"],
    );
    assert_eq!(support::status(&made), 0, "{}", support::stderr(&made));
    let file = folder.path().join("tables/observations.csv");
    let text = std::fs::read_to_string(&file).expect("table");
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    for (pasted, line, message) in [
        (
            vec![&lines[..7], &lines[3..6], &lines[7..]],
            8,
            "rows 8 to 10 are duplicates of rows 4 to 6; remove one set",
        ),
        (
            vec![&lines[..7], &lines[3..4], &lines[7..]],
            8,
            "the row is a duplicate of row 4; remove one of them",
        ),
        (
            vec![&lines[..], &lines[3..4]],
            lines.len() + 1,
            "the row is a duplicate of row 4; remove one of them",
        ),
    ] {
        std::fs::write(&file, pasted.concat().concat()).expect("write");
        let output = support::obvert_in(
            folder.path(),
            &["check", "tables", "--today", "2026-06-15", "--format", "json"],
        );
        let report = Report::read(&output.stdout).expect("a report");
        let messages: Vec<_> =
            report.findings.iter().map(|f| (&*f.rule, f.location(), f.message.clone())).collect();
        assert_eq!(
            messages,
            [("duplicate-row", format!("tables/observations.csv:{line}"), message.to_owned())]
        );
        assert!(report.not_run.is_empty(), "{:?}", report.not_run);
    }
    // A duplicate id with other values in the row is another problem, reported with row numbers
    // too.
    std::fs::write(&file, text.replacen("R-01,4,", "R-01,3,", 1)).expect("write");
    let output = support::obvert_in(folder.path(), &["check", "tables", "--today", "2026-06-15"]);
    let printed = support::stdout(&output);
    assert!(
        printed.contains(
            "the id \"3\" is a duplicate in this table, first in observations.csv:4 [duplicate-id]"
        ),
        "{printed}"
    );
}

/// An orphan row is reported with the row that it names. An id that differs only in its digits is
/// not suggested.
#[test]
fn a_missing_row_is_not_confused_with_its_neighbours() {
    let folder = tempfile::tempdir().expect("a folder");
    let made = support::obvert_in(
        folder.path(),
        &["convert", &root(CLEAN), "-o", "tables", "--to", "csv"],
    );
    assert_eq!(support::status(&made), 0, "{}", support::stderr(&made));
    let table = |name: &str| folder.path().join("tables").join(name);
    let text = std::fs::read_to_string(table("observations.csv")).expect("table");
    let without: String =
        text.split_inclusive('\n').filter(|line| !line.starts_with("R-01,3,")).collect();
    std::fs::write(table("observations.csv"), without).expect("write");
    let message = support::stdout(&support::obvert_in(
        folder.path(),
        &["check", "tables", "--today", "2026-06-15"],
    ));
    assert!(
        message.contains("observations.csv has no observation \"3\" in run \"R-01\""),
        "{message}"
    );
    std::fs::write(table("observations.csv"), text).expect("write");
    let mut renamed = document(CLEAN);
    renamed["pipes"][0]["id"] = json!("7");
    std::fs::write(folder.path().join("r.obvert.json"), renamed.to_string()).expect("write");
    let arguments = ["check", "r.obvert.json", "--today", "2026-06-15", "--all"];
    let message = support::stdout(&support::obvert_in(folder.path(), &arguments));
    assert!(message.contains("no pipe has the id \"P-101\""), "{message}");
    assert!(!message.contains("did you mean \"P-"), "{message}");
}

fn root(path: &str) -> String {
    support::root().join(path).display().to_string()
}
