//! The loss report of a conversion, for every pair of formats: no format loses anything, and each
//! loss by a translation of codes has its location in the source.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use std::path::Path;

use obvert::convert::Account;
use serde_json::Value;
use support::{obvert, obvert_in, root, status, stderr, stdout};

const FORMS: [(&str, &str); 7] = [
    ("json", "survey.obvert.json"),
    ("xml", "survey.xml"),
    ("geojson", "survey.geojson"),
    ("csv", "survey"),
    ("csv-zip", "survey.zip"),
    ("xlsx", "survey.xlsx"),
    ("geopackage", "survey.gpkg"),
];

/// A folder with one survey in every format.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("folder");
    let survey = root().join("examples/data/larkmoor.obvert.json").display().to_string();
    for (form, name) in FORMS {
        let output = obvert_in(folder.path(), &["convert", &survey, "-o", name, "--to", form]);
        assert_eq!(status(&output), 0, "{}", stderr(&output));
    }
    folder
}

fn account(folder: &Path, arguments: &[&str]) -> (Account, Value) {
    let all = [&["convert", "--replace", "--account", "account.json"], arguments].concat();
    let output = obvert_in(folder, &all);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let text = std::fs::read_to_string(folder.join("account.json")).expect("an account");
    (serde_json::from_str(&text).expect("an account"), serde_json::from_str(&text).expect("json"))
}

#[test]
fn every_pair_of_formats_has_an_account() {
    let folder = folder();
    let schema: Value =
        serde_json::from_str(&stdout(&obvert(&["schema", "account"]))).expect("schema");
    let schema = jsonschema::validator_for(&schema).expect("the schema compiles");
    for (from, source) in FORMS {
        for (to, _) in FORMS {
            let out = format!("out-{to}");
            let (account, json) = account(folder.path(), &[source, "-o", &out, "--to", to]);
            assert!(schema.is_valid(&json), "{from} to {to}: {json}");
            assert_eq!((account.from.format.as_str(), account.to.format.as_str()), (from, to));
            assert_eq!(
                (account.from.file.as_str(), account.to.file.as_str()),
                (source, out.as_str())
            );
            assert!(account.lossless && account.entries.is_empty(), "{from} to {to}: {json}");
        }
    }
}

#[test]
fn losses_by_a_translation_are_located_in_every_format() {
    let folder = folder();
    let mut accounts = Vec::new();
    for (from, source) in FORMS {
        let (account, _) = account(
            folder.path(),
            &[source, "-o", "en.json", "--to", "json", "--coding", "en-13508-2"],
        );
        assert_eq!(
            (account.from.code_list.as_str(), account.to.code_list.as_str()),
            ("obvert-terms", "en-13508-2")
        );
        assert!(!account.lossless);
        let totals = account.totals;
        let all = totals.dropped + totals.changed + totals.defaulted + totals.translated;
        assert!(totals.translated > 50 && all == account.entries.len(), "{totals:?}");
        for entry in &account.entries {
            let at = entry
                .at
                .as_ref()
                .unwrap_or_else(|| panic!("{from}: {} has no place", entry.pointer));
            assert!(at.line > 0 && at.file.starts_with(source), "{from}: {at:?}");
        }
        accounts.push(
            account
                .entries
                .into_iter()
                .map(|entry| (entry.kind, entry.pointer, entry.message))
                .collect::<Vec<_>>(),
        );
    }
    assert!(accounts.windows(2).all(|pair| pair[0] == pair[1]), "the entries differ by form");
    // The location is that of the value: the row of the table, and its column if it has one.
    let (account, _) = account(
        folder.path(),
        &["survey", "-o", "en.json", "--to", "json", "--coding", "en-13508-2"],
    );
    let first =
        account.entries.iter().find(|entry| entry.pointer.ends_with("/code")).expect("a code");
    let at = first.at.clone().expect("a place");
    assert_eq!(
        (at.file.as_str(), at.heading.as_deref()),
        ("survey/observations.csv", Some("code"))
    );
    let table =
        std::fs::read_to_string(folder.path().join("survey/observations.csv")).expect("table");
    let code = first.message.split(' ').next().expect("the code");
    assert!(table.lines().nth(at.line - 1).expect("the line").contains(code), "{first:?}");
}

/// The account of a refused conversion gives the reason. Without `--replace` no file is
/// overwritten.
#[test]
fn a_refused_conversion_is_accounted_for() {
    let folder = folder();
    let arguments =
        ["convert", "survey.obvert.json", "-o", "en.json", "--coding", "en-13508-2", "--lossless"];
    let output =
        obvert_in(folder.path(), &[&arguments[..], &["--account", "account.json"]].concat());
    assert_eq!(status(&output), 2);
    assert!(!folder.path().join("en.json").exists());
    let text = std::fs::read_to_string(folder.path().join("account.json")).expect("an account");
    let account: Account = serde_json::from_str(&text).expect("an account");
    assert!(account.totals.translated > 0);
    let output =
        obvert_in(folder.path(), &[&arguments[..], &["--account", "account.json"]].concat());
    assert_eq!(status(&output), 2);
    assert!(stderr(&output).contains("already exists"), "{}", stderr(&output));
}

/// A failed conversion leaves no account. A duplicate or invalid path is refused before anything is
/// written.
#[test]
fn an_account_describes_only_what_was_written() {
    let folder = tempfile::tempdir().expect("folder");
    std::fs::write(folder.path().join("s.json"), obvert::check::MINIMAL).expect("write");
    let refused = |arguments: &[&str], expected: &str| {
        let output =
            support::obvert_in(folder.path(), &[&["convert", "s.json"], arguments].concat());
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(support::stderr(&output).contains(expected), "{}", support::stderr(&output));
        assert_eq!(std::fs::read_dir(folder.path()).expect("folder").count(), 1, "{arguments:?}");
    };
    refused(&["-o", "q.xml", "--account", "no/a.json"], "the folder no does not exist");
    refused(&["-o", "no/q.xml", "--account", "a.json"], "the folder no does not exist");
    refused(&["-o", "q.xml", "--account", "q.xml"], "give each its own");
    refused(&["-o", "tables.csv"], "CSV tables are a folder");
}

/// Features without a geometry are also reported on standard error, since without an account an
/// empty map would have no explanation.
#[test]
fn omissions_from_the_map_are_reported_in_one_line() {
    let folder = tempfile::tempdir().expect("folder");
    let text =
        std::fs::read_to_string(root().join("examples/data/larkmoor.obvert.json")).expect("survey");
    let survey: Value = serde_json::from_str(&text).expect("json");
    let with_outliers = |count: usize| {
        let mut survey = survey.clone();
        let rows = survey["structures"].as_array_mut().expect("structures").iter_mut();
        rows.filter(|row| row.get("position").is_some())
            .take(count)
            .for_each(|row| row["position"] = serde_json::json!([1e12, 1e12]));
        survey
    };
    let why = "position [1000000000000, 1000000000000] cannot be transformed by EPSG:6547; check its order, its unit and the reference system; \
               the feature has no geometry";
    for (to, out) in [("geojson", "a.geojson"), ("geoparquet", "a")] {
        for (count, like) in
            [(0, None), (1, Some("")), (3, Some(" (3 similar notes, first shown)"))]
        {
            std::fs::write(folder.path().join("a.obvert.json"), with_outliers(count).to_string())
                .expect("written");
            let arguments = [
                "convert",
                "a.obvert.json",
                "-o",
                out,
                "--to",
                to,
                "--replace",
                "--account",
                "account.json",
            ];
            let output = obvert_in(folder.path(), &arguments);
            assert_eq!(status(&output), 0, "{}", stderr(&output));
            let message = stderr(&output);
            let notes: Vec<&str> =
                message.lines().filter(|line| line.starts_with("note")).collect();
            let expected: Vec<String> = like.iter().map(|like| format!(": {why}{like}")).collect();
            assert_eq!(notes.len(), expected.len(), "{to}: {message}");
            assert!(
                notes.iter().zip(&expected).all(|(note, expected)| note.ends_with(expected)),
                "{to}: {message}"
            );
            // The account lists each.
            let account: Value = serde_json::from_slice(
                &std::fs::read(folder.path().join("account.json")).expect("read"),
            )
            .expect("json");
            let each = account["notes"]
                .as_array()
                .map_or(0, |notes| notes.iter().filter(|note| note["message"] == why).count());
            assert_eq!(each, count, "{to}: {account}");
        }
    }
}
