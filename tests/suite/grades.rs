//! The part `grades`: documents with the totals of their grades, by pipe and aspect.

use obvert::check::grading::GradeSettings;
use obvert::check::{Checker, Settings};
use obvert::model::lists::GradeScheme;
use serde::Deserialize;
use serde_json::Value;

use crate::manifest::{CORPUS, bytes, json};
use crate::support::{obvert_in, root, status, stderr};

#[derive(Deserialize)]
struct Case {
    id: String,
    scheme: Option<String>,
    #[serde(default)]
    computed: bool,
    base: String,
    patch: json_patch::Patch,
    ratings: Vec<Rating>,
}

#[derive(Deserialize)]
struct Rating {
    pipe: String,
    aspect: String,
    total: f64,
    count: u64,
    mean: Option<f64>,
    peak: Option<f64>,
    per_length: Option<f64>,
}

fn cases() -> Vec<Case> {
    serde_json::from_value(json("grades/manifest.json")["cases"].take()).expect("cases")
}

fn document(case: &Case) -> String {
    let mut document = json(&case.base);
    json_patch::patch(&mut document, &case.patch)
        .unwrap_or_else(|error| panic!("{}: {error}", case.id));
    document.to_string()
}

/// The differences between a table of grades and the expectation of a case. Figures have four decimals.
fn differences(case: &Case, table: &Value) -> Vec<String> {
    let mut wrong = Vec::new();
    for rating in &case.ratings {
        let aspect = table["pipes"]
            .as_array()
            .into_iter()
            .flatten()
            .filter(|pipe| pipe["pipe"] == rating.pipe.as_str())
            .flat_map(|pipe| pipe["aspects"].as_array().into_iter().flatten())
            .find(|aspect| aspect["aspect"] == rating.aspect.as_str());
        let Some(aspect) = aspect else {
            wrong.push(format!("{}: no {} of {}", case.id, rating.aspect, rating.pipe));
            continue;
        };
        for (name, expected) in [
            ("total", Some(rating.total)),
            ("mean", rating.mean),
            ("peak", rating.peak),
            ("per_length", rating.per_length),
        ] {
            let found = aspect.get(name).and_then(Value::as_f64);
            let alike = match (expected, found) {
                (Some(a), Some(b)) => (a - b).abs() <= 0.000_051,
                (a, b) => a == b,
            };
            if !alike {
                wrong.push(format!(
                    "{}: {} {name} {found:?}, expected {expected:?}",
                    case.id, rating.pipe
                ));
            }
        }
        if aspect["count"] != rating.count {
            wrong.push(format!(
                "{}: {} count {}, expected {}",
                case.id, rating.pipe, aspect["count"], rating.count
            ));
        }
    }
    wrong
}

fn by_library(case: &Case) -> Value {
    let scheme =
        case.scheme.as_ref().map(|path| GradeScheme::read(&bytes(path)).expect("a scheme"));
    let checker = Checker::new(Settings::default()).expect("settings");
    let by =
        GradeSettings::default().with_scheme(scheme.as_ref()).with_computed_only(case.computed);
    // Recorded grades are by the scheme that the document names.
    let mut document: Value = serde_json::from_str(&document(case)).expect("json");
    if let Some(scheme) = &scheme {
        document["grading"]["scheme"] = Value::from(scheme.id.as_str());
    }
    let table = checker.grades(document.to_string().as_bytes(), by).expect("grades");
    serde_json::to_value(table).expect("json")
}

#[test]
fn ratings_hold_in_the_library() {
    let wrong: Vec<String> =
        cases().iter().flat_map(|case| differences(case, &by_library(case))).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn ratings_hold_in_the_command() {
    let folder = tempfile::tempdir().expect("folder");
    let mut wrong = Vec::new();
    for case in cases() {
        let mut document: Value = serde_json::from_str(&document(&case)).expect("json");
        let mut arguments =
            vec!["grade".to_owned(), "a.obvert.json".into(), "--format".into(), "json".into()];
        if let Some(path) = &case.scheme {
            document["grading"]["scheme"] = json(path)["id"].clone();
            let path = root().join(CORPUS).join(path);
            arguments.extend(["--grade-scheme".into(), path.to_str().expect("a path").to_owned()]);
        }
        if case.computed {
            arguments.push("--computed".into());
        }
        std::fs::write(folder.path().join("a.obvert.json"), document.to_string()).expect("write");
        let output =
            obvert_in(folder.path(), &arguments.iter().map(String::as_str).collect::<Vec<_>>());
        assert_eq!(status(&output), 0, "{}: {}", case.id, stderr(&output));
        wrong.extend(differences(&case, &serde_json::from_slice(&output.stdout).expect("json")));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A wrong expectation is reported.
#[test]
fn a_flipped_figure_fails() {
    for mut case in cases() {
        let table = by_library(&case);
        assert_eq!(differences(&case, &table), Vec::<String>::new());
        case.ratings[0].total += 1.0;
        case.ratings[0].peak = Some(99.0);
        assert_eq!(differences(&case, &table).len(), 2, "{}", case.id);
    }
}
