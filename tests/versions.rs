//! Versions of the format: releases never change, and documents of older versions can be read.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use obvert::check::{Checker, Report, Settings, Severity, find};
use obvert::model::read::ProblemKind;
use obvert::model::versions::{self, KNOWN, MigrateError, STEPS};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use support::{read, root};

/// The versions before this one.
fn older() -> Vec<&'static str> {
    KNOWN.iter().copied().filter(|version| *version != versions::CURRENT).collect()
}

fn files_below(folder: &Path) -> Vec<PathBuf> {
    let (mut files, mut folders) = (Vec::new(), vec![folder.to_owned()]);
    while let Some(folder) = folders.pop() {
        for entry in
            fs::read_dir(&folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        {
            let path = entry.expect("entry").path();
            if path.is_dir() { folders.push(path) } else { files.push(path) }
        }
    }
    files
}

/// The archived documents of a version.
fn archived(version: &str) -> Vec<(String, String)> {
    let folder = format!("tests/corpus/versions/{version}");
    let mut names: Vec<String> = fs::read_dir(root().join(&folder))
        .expect("an archive")
        .map(|entry| entry.expect("entry").file_name().into_string().expect("a name"))
        .filter(|name| name.ends_with(".obvert.json"))
        .collect();
    names.sort();
    names.into_iter().map(|name| (name.clone(), read(&format!("{folder}/{name}")))).collect()
}

/// A release never changes: every schema has its digest, and none was added or removed. The text of
/// the release is in the history of the repository; its digests and its commit stay.
#[test]
fn releases_are_frozen() {
    for version in older() {
        let folder = root().join("releases").join(version);
        let sums = fs::read_to_string(folder.join("SHA256SUMS")).expect("sums");
        let (text, schemas): (BTreeMap<String, String>, BTreeMap<String, String>) = sums
            .lines()
            .map(|line| line.split_once("  ").expect("a digest and a name"))
            .map(|(digest, name)| (name.to_owned(), digest.to_owned()))
            .partition(|(name, _)| name.starts_with("spec/"));
        let there: BTreeMap<String, String> = files_below(&folder)
            .into_iter()
            .filter(|path| !path.ends_with("SHA256SUMS") && !path.ends_with("README.md"))
            .map(|path| {
                let name = path
                    .strip_prefix(&folder)
                    .expect("inside")
                    .to_string_lossy()
                    .replace('\\', "/");
                let hash = Sha256::digest(fs::read(&path).expect("a file"));
                (name, hash.iter().map(|byte| format!("{byte:02x}")).collect())
            })
            .collect();
        assert_eq!(there, schemas, "releases/{version} has changed");
        for needed in
            ["schema/document.schema.json", "schema/obvert.xsd", "schema/tables/runs.json"]
        {
            assert!(schemas.contains_key(needed), "releases/{version} lacks {needed}");
        }
        assert!(
            text.contains_key("spec/versions.md") && text.values().all(|digest| digest.len() == 64),
            "{version}"
        );
        let about = fs::read_to_string(folder.join("README.md")).expect("where the text is");
        let commit = about
            .split('`')
            .find(|word| word.len() == 40 && word.chars().all(|c| c.is_ascii_hexdigit()));
        assert!(commit.is_some(), "releases/{version}/README.md names no commit");
        // The crate embeds the schema for older documents, and it is shipped with that of this
        // version.
        let released: Value =
            serde_json::from_str(&read(&format!("releases/{version}/schema/document.schema.json")))
                .expect("json");
        assert_eq!(versions::schema(version), Some(released.clone()), "{version}");
        let shipped: Value =
            serde_json::from_str(&read(&format!("schema/{version}/document.schema.json")))
                .expect("json");
        assert_eq!(shipped, released, "{version}");
        assert_eq!(
            shipped["$id"],
            format!("https://obvert.example/schema/{version}/document.schema.json")
        );
    }
    assert!(!older().is_empty());
}

/// The numbers are as in the chapter on versions, and there are steps from each version to the
/// next.
#[test]
fn versions_are_in_order() {
    let numbers: Vec<[u32; 2]> = KNOWN
        .iter()
        .map(|version| {
            let (major, minor) = version.split_once('.').expect("two numbers");
            [major.parse().expect("a number"), minor.parse().expect("a number")]
        })
        .collect();
    assert!(numbers.is_sorted(), "{KNOWN:?}");
    assert_eq!(KNOWN.last(), Some(&versions::CURRENT));
    let words = versions::schema(versions::CURRENT).expect("this version")["$defs"]["FormatVersion"]["enum"].clone();
    assert_eq!(words, json!([versions::CURRENT]));
    for pair in KNOWN.windows(2) {
        assert!(
            STEPS.iter().any(|step| [step.from, step.to] == [pair[0], pair[1]]),
            "no step from {}",
            pair[0]
        );
    }
    let names: BTreeSet<&str> = STEPS.iter().map(|step| step.name).collect();
    assert_eq!(names.len(), STEPS.len(), "duplicate step name");
    let chapter = read("spec/format/versions.md");
    for step in STEPS {
        assert!(
            chapter.contains(&format!("`{}`", step.name)),
            "spec/format/versions.md does not name {}",
            step.name
        );
    }
}

fn checked(text: &str) -> Report {
    let settings =
        Settings::default().with_today("2026-06-15".parse().expect("a date")).with_keep(usize::MAX);
    Checker::new(settings).expect("settings").check(text.as_bytes()).expect("json")
}

/// What the rules about codes and grades find in a document of an earlier draft, since it is
/// checked by the code list and the grade scheme of today (Versions in the specification).
const BY_NEWER_LISTS: [&str; 5] = [
    "characterisation-missing",
    "quantity-range",
    "quantity-unit",
    "grade-contradicts",
    "rating-contradicts",
];

/// Every archived document is valid by its own schema, migrates to this version, is valid by its
/// schema, and keeps its findings.
#[test]
fn every_archived_document_is_still_one() {
    for version in older() {
        let documents = archived(version);
        assert!(documents.len() >= 6, "{version}: {}", documents.len());
        let then = jsonschema::validator_for(&versions::schema(version).expect("known"))
            .expect("compiles");
        let now = jsonschema::validator_for(&versions::schema(versions::CURRENT).expect("known"))
            .expect("compiles");
        let mut taken = BTreeSet::new();
        for (name, text) in documents {
            let before: Value = serde_json::from_str(&text).expect("json");
            assert!(then.is_valid(&before), "{version}/{name} is not a document of its version");
            assert!(!now.is_valid(&before), "{version}/{name} is read by another version's schema");
            let migrated = versions::migrate(text.as_bytes(), versions::CURRENT)
                .unwrap_or_else(|e| panic!("{name}: {e}"));
            let after: Value = serde_json::from_str(&migrated.text).expect("json");
            let wrong: Vec<String> =
                now.iter_errors(&after).map(|error| error.to_string()).collect();
            assert_eq!(wrong, Vec::<String>::new(), "{version}/{name}");
            obvert::read(migrated.text.as_bytes())
                .unwrap_or_else(|error| panic!("{name}: {error}"));
            taken.extend(migrated.steps.iter().map(|step| step.name.clone()));
            let report = checked(&migrated.text);
            let errors = report
                .findings
                .iter()
                .filter(|finding| finding.severity == Severity::Error)
                .filter(|finding| !BY_NEWER_LISTS.contains(&&*finding.rule))
                .count();
            // Documents that were clean have no error, also by newer rules.
            let spoilt =
                name.contains("rejected") || name.contains("nasty") || name.contains("minimal");
            assert!(spoilt || errors == 0, "{version}/{name}: {errors} errors");
            let findings = root().join(format!(
                "tests/corpus/versions/{version}/{}",
                name.replace(".obvert.", ".findings.")
            ));
            if findings.exists() {
                let then: Vec<(String, String)> =
                    serde_json::from_slice(&fs::read(findings).expect("a file"))
                        .expect("rules and paths");
                let now: BTreeSet<(String, String)> = report
                    .findings
                    .iter()
                    .map(|finding| (finding.rule.to_string(), finding.subject.path.clone()))
                    .collect();
                let gone: Vec<_> = then.iter().filter(|finding| !now.contains(finding)).collect();
                assert!(
                    gone.is_empty() && then.len() > 100,
                    "{version}/{name}: not found any more: {gone:?}"
                );
            }
        }
        // The archive exercises every step.
        let all: BTreeSet<String> = STEPS
            .iter()
            .filter(|step| step.from == version)
            .map(|step| step.name.to_owned())
            .collect();
        assert_eq!(taken, all, "{version}");
    }
}

/// Everything else stays byte for byte: undoing the changes of 0.2 gives the same file.
#[test]
fn the_rest_stays_byte_for_byte() {
    for (name, text) in archived("0.1") {
        let migrated = versions::migrate(text.as_bytes(), "0.2").expect(&name).text;
        let back = migrated
            .replacen("\"obvert\": \"0.2\"", "\"obvert\": \"0.1\"", 1)
            .replacen("schema/0.2/document", "schema/0.1/document", 1)
            .replace("\"known\":", "\"true\":")
            .replace("\"recent-rain\"", "\"wet-ground\"");
        assert_eq!(back, text, "{name}");
    }
    // Line ends, a byte-order mark and odd layout too.
    let odd = "\u{FEFF}{\r\n\t\"id\":\"d\",\"obvert\"  :\"0.1\" ,\"issued\":\"2026-05-06T16:20:00Z\",\"units\":{\"length\":\"m\",\"section\":\"mm\"},\r\n\
               \"coding\":{\"list\":\"obvert-terms\",\"version\":\"1\"},\"runs\":[{\"id\":\"r\",\"pipe\":\"p\",\"direction\":\"upstream\",\"counter\":\
               {\"zero\":\"pipe-end\",\"checks\":[{\"tr\\u0075e\":1.50,\"reading\":1e0}]}}]}\r\n\r\n";
    let migrated = versions::migrate(odd.as_bytes(), "0.2").expect("migrates").text;
    assert_eq!(migrated, odd.replace("\"0.1\"", "\"0.2\"").replace("\"tr\\u0075e\"", "\"known\""));
}

/// A document is validated by the schema of the version that it states, not by another that happens
/// to fit.
#[test]
fn invalid_documents_are_refused_by_their_own_version() {
    let of = |version: &str, check: &str| {
        format!(
            r#"{{"obvert": {version}, "id": "d", "issued": "2026-05-06T16:20:00Z", "units": {{"length": "m", "section": "mm"}},
              "coding": {{"list": "obvert-terms", "version": "1"}}, "runs": [{{"id": "r", "pipe": "p", "direction": "upstream",
              "counter": {{"zero": "pipe-end", "checks": [{check}]}}}}]}}"#
        )
    };
    let migrate =
        |version: &str, check: &str, to: &str| versions::migrate(of(version, check).as_bytes(), to);
    assert!(migrate("\"0.1\"", r#"{"reading": 1, "true": 1}"#, "0.2").is_ok());
    assert!(
        migrate("\"0.2\"", r#"{"reading": 1, "known": 1}"#, "0.2")
            .expect("as it is")
            .steps
            .is_empty()
    );
    // The key of 0.2 in 0.1, that of 0.1 in 0.2, and both.
    for (version, check) in [
        ("\"0.1\"", r#"{"reading": 1, "known": 1}"#),
        ("\"0.2\"", r#"{"reading": 1, "true": 1}"#),
        ("\"0.1\"", r#"{"reading": 1, "true": 1, "known": 1}"#),
        ("\"0.1\"", r#"{"reading": 1, "true": 1, "true": 2}"#),
        ("\"0.1\"", r#"{"reading": null, "true": 1}"#),
    ] {
        let error = migrate(version, check, "0.2").expect_err(check);
        let MigrateError::InvalidInput { version: stated, source: error } = &error else {
            panic!("{check}: {error}")
        };
        assert_eq!(format!("{stated:?}"), version);
        assert!(
            error
                .problems()
                .iter()
                .all(|problem| problem.pointer.starts_with("/runs/0/counter/checks/0")),
            "{error}"
        );
        assert!(error.problems().iter().all(|problem| problem.line == 3), "{error}");
    }
    let reported =
        |version: &str, to: &str| migrate(version, "", to).expect_err(version).to_string();
    assert!(
        reported("\"0.3\"", "0.2")
            .contains("version \"0.3\" of the format is not known; known versions are 0.1, 0.2;")
    );
    assert!(reported("\"1.0\"", "0.2").contains("\"1.0\""));
    assert!(reported("\"0.1\"", "7.0").contains("\"7.0\""));
    assert_eq!(
        reported("\"0.2\"", "0.1"),
        "cannot migrate from version 0.2 of the format back to 0.1"
    );
    assert!(
        reported("2", "0.2").starts_with("states no version of the format"),
        "{}",
        reported("2", "0.2")
    );
    for broken in ["", "{\"obvert\": \"0.1\",", "[", "{\"obvert\": \"0.1\"} x", "\u{0}"] {
        assert!(versions::migrate(broken.as_bytes(), "0.2").is_err(), "{broken:?}");
    }
    let cut = versions::migrate(b"{\"a\": ", "0.2").expect_err("truncated");
    let cause = std::error::Error::source(&cut).expect("a cause").to_string();
    assert!(cause.contains("not JSON"), "{cause}");
}

/// The weather word of 0.1 is unknown in 0.2, and the other way round; a migration replaces it in
/// the runs and nowhere else.
#[test]
fn wet_ground_becomes_recent_rain() {
    let of = |version: &str, weather: &str| {
        format!(
            r#"{{"obvert": "{version}", "id": "d", "issued": "2026-05-06T16:20:00Z", "units": {{"length": "m", "section": "mm"}},
              "coding": {{"list": "obvert-terms", "version": "1"}}, "runs": [
              {{"id": "a", "pipe": "p", "direction": "upstream", "weather": "{weather}", "remark": "wet-ground"}},
              {{"id": "b", "pipe": "p", "direction": "upstream", "weather": "rain", "extensions": {{"org.example": {{"weather": "wet-ground"}}}}}}]}}"#
        )
    };
    let old = of("0.1", "wet-ground");
    let migrated = versions::migrate(old.as_bytes(), "0.2").expect("migrates");
    assert_eq!(migrated.text, of("0.2", "recent-rain"));
    let steps: Vec<&str> = migrated.steps.iter().map(|step| step.name.as_str()).collect();
    assert_eq!(steps, ["weather-recent-rain", "version-0.2"]);
    assert!(migrated.steps.iter().all(|step| step.lossless));
    for (version, weather) in [("0.1", "recent-rain"), ("0.2", "wet-ground")] {
        let error = versions::migrate(of(version, weather).as_bytes(), "0.2").expect_err(weather);
        let MigrateError::InvalidInput { source, .. } = &error else {
            panic!("{weather}: {error}")
        };
        let [problem] = source.problems() else { panic!("{weather}: {source}") };
        assert_eq!(
            (problem.kind, problem.pointer.as_str()),
            (ProblemKind::UnknownWord, "/runs/0/weather")
        );
    }
    let error = obvert::read(of("0.2", "wet-ground").as_bytes()).expect_err("a word of 0.1");
    assert!(error.to_string().contains("recent-rain"), "{error}");
}

/// Columns in the migrated text are mapped to those of the original file, for every value of every
/// archived document.
#[test]
fn locations_are_those_of_the_file() {
    fn pointers(value: &Value, pointer: String, all: &mut Vec<String>) {
        match value {
            Value::Array(items) => {
                items
                    .iter()
                    .enumerate()
                    .for_each(|(at, item)| pointers(item, format!("{pointer}/{at}"), all));
            }
            Value::Object(entries) => entries.iter().for_each(|(key, entry)| {
                pointers(
                    entry,
                    format!("{pointer}/{}", key.replace('~', "~0").replace('/', "~1")),
                    all,
                )
            }),
            _ => {}
        }
        all.push(pointer);
    }
    let mut moved = 0;
    for (name, text) in archived("0.1") {
        let migrated = versions::migrate(text.as_bytes(), "0.2").expect(&name);
        let mut all = Vec::new();
        pointers(&serde_json::from_str(&migrated.text).expect("json"), String::new(), &mut all);
        let olds: Vec<String> = all
            .iter()
            .map(|new| {
                match new
                    .strip_suffix("/known")
                    .filter(|holder| holder.contains("/counter/checks/"))
                {
                    Some(holder) => format!("{holder}/true"),
                    None => new.clone(),
                }
            })
            .collect();
        let now = obvert::model::read::locate_all(
            migrated.text.as_bytes(),
            all.iter().map(String::as_str),
        );
        let then =
            obvert::model::read::locate_all(text.as_bytes(), olds.iter().map(String::as_str));
        for (new, old) in all.iter().zip(&olds) {
            for (now, then) in [(now.get(new), then.get(old)), (now.key(new), then.key(old))] {
                assert_eq!(now.line, then.line, "{name} {new}");
                assert_eq!(
                    migrated.column_before(now.line, now.column),
                    then.column,
                    "{name} {new}"
                );
                moved += usize::from(now.column != then.column);
            }
        }
    }
    assert!(moved > 20, "{moved} places moved");
}

fn obvert(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_obvert"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the command runs")
}

fn out(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn err(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn the_command_migrates_when_asked() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("survey.obvert.json");
    let old = read("tests/corpus/versions/0.1/larkmoor.obvert.json");
    fs::write(&file, &old).expect("written");
    // A preview writes nothing.
    let shown = obvert(folder.path(), &["migrate", "survey.obvert.json"]);
    assert_eq!(shown.status.code(), Some(0), "{}", err(&shown));
    let text = out(&shown);
    assert!(
        text.contains("from version 0.1 to 0.2") && text.contains("counter-check-known"),
        "{text}"
    );
    assert!(
        text.contains("/runs/0/counter/checks/0/true -> /runs/0/counter/checks/0/known"),
        "{text}"
    );
    assert!(text.contains("nothing is written yet"), "{text}");
    assert_eq!(fs::read_to_string(&file).expect("there"), old);
    // To the version that it already has, and to another file.
    let same = obvert(folder.path(), &["migrate", "survey.obvert.json", "--to", "0.1"]);
    assert_eq!(out(&same), "survey.obvert.json: already has version 0.1\n", "{}", err(&same));
    let other = obvert(folder.path(), &["migrate", "survey.obvert.json", "-o", "new.obvert.json"]);
    assert_eq!(other.status.code(), Some(0), "{}", err(&other));
    assert_eq!(fs::read_to_string(&file).expect("there"), old);
    let new = fs::read_to_string(folder.path().join("new.obvert.json")).expect("written");
    assert_eq!(new, versions::migrate(old.as_bytes(), "0.2").expect("migrates").text);
    let again = obvert(folder.path(), &["migrate", "survey.obvert.json", "-o", "new.obvert.json"]);
    assert!(again.status.code() == Some(2) && err(&again).contains("--replace"), "{}", err(&again));
    // In place, with the log; a second time there is nothing to do.
    let log =
        obvert(folder.path(), &["migrate", "survey.obvert.json", "--write", "--format", "json"]);
    let log: Value = serde_json::from_slice(&log.stdout).expect("json");
    let schema: Value = serde_json::from_str(&read("schema/migration.schema.json")).expect("json");
    assert!(jsonschema::validator_for(&schema).expect("compiles").is_valid(&log), "{log:#}");
    assert_eq!(log["documents"][0]["written"], "survey.obvert.json");
    assert_eq!(log["documents"][0]["steps"][0]["edits"][0]["op"], "move");
    assert_eq!(fs::read_to_string(&file).expect("there"), new);
    let done = obvert(folder.path(), &["migrate", "survey.obvert.json", "--write"]);
    assert_eq!(out(&done), "survey.obvert.json: already has version 0.2\n");
}

#[test]
fn the_command_does_not_change_what_it_cannot_migrate() {
    let folder = tempfile::tempdir().expect("a folder");
    let old = read("tests/corpus/versions/0.1/larkmoor.obvert.json");
    let broken = old.replace("\"true\": ", "\"truth\": ");
    fs::write(folder.path().join("broken.obvert.json"), &broken).expect("written");
    fs::write(folder.path().join("good.obvert.json"), &old).expect("written");
    fs::write(folder.path().join("later.obvert.json"), old.replace("\"0.1\"", "\"0.9\""))
        .expect("written");
    let files = ["broken.obvert.json", "later.obvert.json", "good.obvert.json"];
    let run = obvert(folder.path(), &[&["migrate", "--write"][..], &files].concat());
    assert_eq!(run.status.code(), Some(2));
    let message = err(&run);
    assert!(message.contains("broken.obvert.json: is not valid in its version 0.1"), "{message}");
    assert!(message.contains("did you mean \"true\"?"), "{message}");
    assert!(
        message.contains("later.obvert.json: version \"0.9\" of the format is not known"),
        "{message}"
    );
    assert_eq!(
        fs::read_to_string(folder.path().join("broken.obvert.json")).expect("there"),
        broken
    );
    assert!(
        fs::read_to_string(folder.path().join("good.obvert.json"))
            .expect("there")
            .contains("\"obvert\": \"0.2\"")
    );
    let unknown = obvert(folder.path(), &["migrate", "good.obvert.json", "--to", "0.9"]);
    assert!(
        unknown.status.code() == Some(2) && err(&unknown).contains("give one of 0.1, 0.2"),
        "{}",
        err(&unknown)
    );
    // A check of the broken one reports all of its problems by its own schema, with their
    // locations.
    let check = obvert(folder.path(), &["check", "broken.obvert.json", "--format", "json"]);
    let report: Value = serde_json::from_slice(&check.stdout).expect("json");
    assert_eq!(check.status.code(), Some(1), "{}", err(&check));
    let findings = report["findings"].as_array().expect("findings");
    assert!(
        findings.len() > 10
            && findings.iter().all(|finding| finding["at"]["line"].as_u64() > Some(1))
    );
    assert!(findings.iter().any(|finding| finding["rule"] == "unknown-key"));
}

/// The other commands read older surveys, report the version, and give locations in the original
/// file.
#[test]
fn older_surveys_are_read_as_they_are() {
    let archive = root().join("tests/corpus/versions/0.1");
    let name = "larkmoor-rejected.obvert.json";
    let check =
        obvert(&archive, &["check", name, "--today", "2026-06-15", "--all", "--format", "json"]);
    assert_eq!(check.status.code(), Some(1), "{}", err(&check));
    assert!(
        err(&check).contains("has version 0.1 of the format and was read as 0.2"),
        "{}",
        err(&check)
    );
    let report: Value = serde_json::from_slice(&check.stdout).expect("json");
    let text = read(&format!("tests/corpus/versions/0.1/{name}"));
    for finding in report["findings"].as_array().expect("findings") {
        let place =
            obvert::model::read::locate(text.as_bytes(), finding["path"].as_str().expect("a path"));
        let at = [finding["at"]["line"].as_u64(), finding["at"]["column"].as_u64()];
        assert_eq!(at, [Some(place.line as u64), Some(place.column as u64)], "{finding}");
    }
    // The digest is that of the document in its own version, as in the README of 0.1.
    let digest = obvert(&archive, &["digest", "larkmoor.obvert.json"]);
    let known = "sha-256:96868af3745b27df8ade0a02ef7f4ba56e7e85608e5fbfffca29043a64c1345f";
    assert!(out(&digest).starts_with(known), "{}", out(&digest));
    assert_eq!(err(&digest), "");
    let folder = tempfile::tempdir().expect("a folder");
    let old = archive.join("larkmoor.obvert.json");
    let old = old.to_str().expect("a path");
    let converted = obvert(folder.path(), &["convert", old, "-o", "new.obvert.json"]);
    assert_eq!(converted.status.code(), Some(0), "{}", err(&converted));
    let current = fs::read_to_string(folder.path().join("new.obvert.json")).expect("written");
    let migrated =
        versions::migrate(fs::read(old).expect("there").as_slice(), "0.2").expect("migrates");
    let document = obvert::read(migrated.text.as_bytes()).expect("valid");
    assert_eq!(current, obvert::to_string(&document).unwrap());
    let grade = obvert(folder.path(), &["grade", old]);
    assert_eq!(grade.status.code(), Some(0), "{}", err(&grade));
    // It must be migrated before it is fixed.
    let fix = obvert(folder.path(), &["fix", old]);
    assert!(
        fix.status.code() == Some(2) && err(&fix).contains("migrate it first"),
        "{}",
        err(&fix)
    );
    // The library's reader reads this version only, and says what to do.
    let error =
        obvert::read(fs::read(old).expect("there").as_slice()).expect_err("another version");
    assert!(
        error
            .to_string()
            .contains("this reader knows 0.2; obvert migrate brings a JSON document to it"),
        "{error}"
    );
}

/// Converting an older survey gives a document of this version, with another digest, and reports
/// that.
#[test]
fn a_conversion_reports_the_change_of_version() {
    let folder = tempfile::tempdir().expect("a folder");
    let old = root().join("tests/corpus/versions/0.1/larkmoor.obvert.json").display().to_string();
    let arguments = ["convert", &old, "-o", "new.obvert.json", "--account", "account.json"];
    let made = support::obvert_in(folder.path(), &arguments);
    assert_eq!(support::status(&made), 0, "{}", support::stderr(&made));
    assert!(
        support::stderr(&made).contains(r#": "0.1" becomes "0.2""#),
        "{}",
        support::stderr(&made)
    );
    let account: Value =
        serde_json::from_slice(&fs::read(folder.path().join("account.json")).expect("there"))
            .expect("JSON");
    assert_eq!(
        (&account["lossless"], account["entries"].as_array().map(Vec::len)),
        (&json!(false), Some(1)),
        "{account:#}"
    );
    assert_eq!(account["entries"][0]["at"]["file"], json!(old), "{account:#}");
    let refused = support::obvert_in(
        folder.path(),
        &["convert", &old, "-o", "other.obvert.json", "--lossless"],
    );
    assert_eq!(support::status(&refused), 2);
    assert!(!folder.path().join("other.obvert.json").exists());
}

/// Every rename is from a name that does not exist any more to one that does.
#[test]
fn renamed_rules_exist_by_their_new_names() {
    let exists = |name: &str| {
        find(name).is_some() || ProblemKind::ALL.iter().any(|kind| kind.as_str() == name)
    };
    for (old, new) in versions::RENAMED {
        assert!(exists(new), "{old} was renamed to {new}, which does not exist");
        assert!(!exists(old), "{old} still exists");
    }
}

const OLD_PROFILE: &str = r#"{
  "profile": "0.1", "id": "office", "version": "1",   "title": "Office",
  "rules": [
    {"rule": "asset-twice", "severity": "error"},
    {"rule": "camera-speed", "limits": [{"name": "limit", "value": 12}]}
  ],
  "suppressions": [
    {"rule": "run-past-pipe", "pipes": ["P-1"], "reason": "the rule asset-twice"},
    {"rule": "asset-twice", "pipes": ["P-2"], "reason": "known"}
  ]
}
"#;

#[test]
fn the_command_renames_the_rules_of_a_profile() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("office.profile.json");
    fs::write(&file, OLD_PROFILE).expect("written");
    let shown = obvert(folder.path(), &["migrate", "office.profile.json"]);
    assert_eq!(shown.status.code(), Some(0), "{}", err(&shown));
    let expected = "office.profile.json: a profile with 2 renamed rules\n  \
        renamed-rule: asset-twice is now asset-duplicate\n    \
        /rules/0/rule: \"asset-duplicate\"\n    \
        /suppressions/1/rule: \"asset-duplicate\"\n  \
        renamed-rule: run-past-pipe is now run-longer-than-pipe\n    \
        /suppressions/0/rule: \"run-longer-than-pipe\"\n";
    assert!(out(&shown).starts_with(expected), "{}", out(&shown));
    assert_eq!(fs::read_to_string(&file).expect("there"), OLD_PROFILE);
    // In place: only the names change; a text that mentions one stays.
    let log =
        obvert(folder.path(), &["migrate", "office.profile.json", "--write", "--format", "json"]);
    let log: Value = serde_json::from_slice(&log.stdout).expect("json");
    let schema: Value = serde_json::from_str(&read("schema/migration.schema.json")).expect("json");
    assert!(jsonschema::validator_for(&schema).expect("compiles").is_valid(&log), "{log:#}");
    assert_eq!(log["documents"][0]["written"], "office.profile.json");
    let new = OLD_PROFILE
        .replace("\"asset-twice\"", "\"asset-duplicate\"")
        .replace("\"run-past-pipe\"", "\"run-longer-than-pipe\"");
    assert_eq!(fs::read_to_string(&file).expect("there"), new);
    let done = obvert(folder.path(), &["migrate", "office.profile.json", "--write"]);
    assert_eq!(
        out(&done),
        "office.profile.json: a profile with no renamed rules\n",
        "{}",
        err(&done)
    );
    // An invalid profile is refused.
    fs::write(&file, OLD_PROFILE.replace("\"title\"", "\"titel\"")).expect("written");
    let broken = obvert(folder.path(), &["migrate", "office.profile.json"]);
    assert!(broken.status.code() == Some(2) && err(&broken).contains("titel"), "{}", err(&broken));
}

/// An old name is an error that gives the new one, wherever a rule can be named.
#[test]
fn old_names_of_rules_are_refused_with_the_new_ones() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("office.profile.json"), OLD_PROFILE).expect("written");
    let survey = root().join("examples/data/larkmoor.obvert.json").display().to_string();
    let renamed = "\"asset-twice\" was renamed to \"asset-duplicate\"";
    for arguments in [
        &["explain", "asset-twice"][..],
        &["check", &survey, "--severity", "asset-twice=error"],
        &["check", &survey, "--limit", "asset-twice.most=3"],
        &["check", &survey, "--today", "2026-06-15", "--profile", "office.profile.json"],
        &["fix", &survey, "--only", "asset-twice"],
        &["profile", "check", "office.profile.json"],
    ] {
        let run = obvert(folder.path(), arguments);
        let message = out(&run) + &err(&run);
        assert!(
            run.status.code() != Some(0) && message.contains(renamed),
            "{arguments:?}: {message}"
        );
    }
    // A structural problem was renamed as well.
    let run = obvert(folder.path(), &["explain", "row-astray"]);
    assert!(err(&run).contains("\"row-astray\" was renamed to \"orphan-row\""), "{}", err(&run));
}
