//! The built-in code list and grade scheme, and the problems of inconsistent lists.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::BTreeSet;

use obvert_model::lists::{CodeList, Family, GradeScheme, ListProblem, ListProblemKind};
use obvert_model::tables::Aspect;
use serde_json::{Value, json};

const LIST: &str = include_str!("../data/code-lists/obvert-terms.json");
const STANDARD: &str = include_str!("../data/code-lists/en-13508-2.json");
const SCHEME: &str = include_str!("../data/grade-schemes/obvert-grades.json");

fn shown(problems: &[ListProblem]) -> Vec<String> {
    problems.iter().map(|problem| format!("{} {problem}", problem.kind)).collect()
}

#[test]
fn the_built_in_ones_are_consistent() {
    let (list, scheme) = (CodeList::obvert_terms(), GradeScheme::obvert_grades());
    for list in CodeList::built_ins() {
        assert_eq!(shown(&list.problems()), Vec::<String>::new(), "{}", list.id);
    }
    assert_eq!(shown(&scheme.problems(list)), Vec::<String>::new());
}

#[test]
fn the_built_in_list_covers_the_trade() {
    let list = CodeList::obvert_terms();
    assert!(list.codes.len() >= 80, "{}", list.codes.len());
    for family in Family::ALL {
        let of_family = list.codes.iter().filter(|code| code.family == *family).count();
        assert!(of_family >= 5, "{family}: {of_family}");
    }
    for code in &list.codes {
        assert!(code.meaning.is_some(), "{}", code.code);
        for language in ["en", "de", "fr", "es"] {
            assert!(code.label.contains_key(language), "{} has no name in {language}", code.code);
        }
    }
}

#[test]
fn every_defect_of_the_built_in_list_has_a_grade() {
    let (list, scheme) = (CodeList::obvert_terms(), GradeScheme::obvert_grades());
    let graded: BTreeSet<_> =
        scheme.entries.iter().map(|entry| (&entry.code, entry.aspect)).collect();
    for code in &list.codes {
        let aspect = match code.family {
            Family::Structural => Aspect::Structural,
            Family::Operational => Aspect::Operational,
            _ => continue,
        };
        assert!(graded.contains(&(&code.code, aspect)), "{}", code.code);
    }
}

#[test]
fn built_in_ones_are_found_by_name_and_version() {
    assert!(CodeList::built_in("obvert-terms", "1").is_some());
    assert!(CodeList::built_in("obvert-terms", "2").is_none());
    assert!(CodeList::built_in("Obvert-Terms", "1").is_none());
    assert!(CodeList::built_in("en-13508-2", "2003+A1:2011").is_some());
    assert!(CodeList::built_in("en-13508-2", "2003").is_none());
    for list in CodeList::built_ins() {
        assert_eq!(
            CodeList::built_in(&list.id, &list.version).map(|found| &found.id),
            Some(&list.id)
        );
    }
    assert!(GradeScheme::built_in("obvert-grades", "1").is_some());
    assert!(GradeScheme::built_in("obvert-terms", "1").is_none());
    let by_code = CodeList::obvert_terms().by_code();
    assert_eq!(by_code.len(), CodeList::obvert_terms().codes.len());
    assert_eq!(by_code["run.start"].family, Family::Housekeeping);
}

/// A list of two codes, to break one thing at a time.
fn list() -> Value {
    json!({
        "code_list": "0.1", "id": "larkmoor-terms", "version": "3", "title": "Terms of the town of Larkmoor",
        "codes": [
            {
                "code": "crack", "family": "structural", "label": { "en": "crack" },
                "characterisation": [
                    { "name": "course", "required": true, "values": [
                        { "value": "along", "label": { "en": "along" } }, { "value": "across", "label": { "en": "across" } }
                    ] },
                    { "name": "edge", "required": false, "values": [{ "value": "sharp", "label": { "en": "sharp" } }] }
                ],
                "quantities": [
                    { "name": "width", "unit": "mm", "min": 0, "max": 50 },
                    { "name": "share", "unit": "percent", "of": "perimeter" }
                ],
                "clock": { "use": "required", "extent": "either" }, "continuous": "allowed", "joint": "allowed",
                "same_as": [{ "list": "larkmoor-terms", "code": "roots" }, { "list": "elsewhere", "code": "crack" }]
            },
            {
                "code": "roots", "family": "operational", "label": { "en": "roots" }, "materials": ["clayware", "concrete"],
                "clock": { "use": "none" }, "continuous": "never", "joint": "required"
            }
        ]
    })
}

fn scheme() -> Value {
    json!({
        "grade_scheme": "0.1", "id": "larkmoor-grades", "version": "1", "title": "Grades of the town of Larkmoor",
        "code_list": { "list": "larkmoor-terms", "version": "3" },
        "scale": { "best": 1, "worst": 3, "steps": [
            { "grade": 1, "label": { "en": "good" } }, { "grade": 2, "label": { "en": "fair" } }, { "grade": 3, "label": { "en": "bad" } }
        ] },
        "aspects": ["structural", "operational"],
        "entries": [
            { "code": "crack", "aspect": "structural", "characterisation": ["along"], "size": { "below": 300 }, "grade": 3 },
            { "code": "crack", "aspect": "structural", "bands": [
                { "quantity": "width", "from": 0, "below": 5, "grade": 1 }, { "quantity": "width", "from": 5, "grade": 2 }
            ], "grade": 1 },
            { "code": "roots", "aspect": "operational", "materials": ["clayware"], "grade": 2 },
            { "code": "roots", "aspect": "operational", "grade": 1 }
        ],
        "rollup": { "interval": { "value": 1, "unit": "m" }, "per_length": { "value": 100, "unit": "ft" } }
    })
}

fn read_list(value: &Value) -> CodeList {
    CodeList::read(value.to_string().as_bytes()).unwrap()
}

fn read_scheme(value: &Value) -> GradeScheme {
    GradeScheme::read(value.to_string().as_bytes()).unwrap()
}

/// Sets the value at a pointer; `null` removes it.
fn with(mut value: Value, pointer: &str, new: Value) -> Value {
    let (holder, key) = pointer.rsplit_once('/').unwrap();
    match value.pointer_mut(holder).unwrap() {
        Value::Object(entries) if new.is_null() => drop(entries.remove(key)),
        Value::Object(entries) => drop(entries.insert(key.to_owned(), new)),
        Value::Array(items) if key == "-" => items.push(new),
        Value::Array(items) if new.is_null() => drop(items.remove(key.parse().unwrap())),
        Value::Array(items) => items[key.parse::<usize>().unwrap()] = new,
        other => panic!("{other}"),
    }
    value
}

type Expected = (ListProblemKind, &'static str);

fn assert_problems(found: &[ListProblem], expected: &[Expected], what: &str) {
    let pairs: Vec<_> =
        found.iter().map(|problem| (problem.kind, problem.pointer.as_str())).collect();
    assert_eq!(pairs, expected, "{what}: {:#?}", shown(found));
    for ListProblem { message, .. } in found {
        assert!(!message.starts_with(char::is_uppercase) && !message.ends_with('.'), "{message}");
    }
}

#[test]
fn inconsistencies_in_a_list_are_found() {
    use ListProblemKind as K;
    assert_problems(&read_list(&list()).problems(), &[], "the list as it is");
    let cases: Vec<(&str, Value, Vec<Expected>)> = vec![
        ("/codes", json!([]), vec![(K::Empty, "/codes")]),
        (
            "/codes/1/code",
            json!("crack"),
            vec![(K::Duplicate, "/codes/1"), (K::Link, "/codes/0/same_as/0/code")],
        ),
        ("/codes/1/code", json!("root"), vec![(K::Link, "/codes/0/same_as/0/code")]),
        ("/codes/0/same_as/0/code", json!("crack"), vec![(K::Link, "/codes/0/same_as/0")]),
        (
            "/codes/0/same_as/-",
            json!({ "list": "elsewhere", "code": "crack" }),
            vec![(K::Duplicate, "/codes/0/same_as/2")],
        ),
        // Ambiguous, forwards or back.
        (
            "/codes/0/same_as/-",
            json!({ "list": "elsewhere", "code": "crack", "characterisation": ["A"] }),
            vec![(K::Ambiguous, "/codes/0/same_as/2")],
        ),
        (
            "/codes/0/same_as/-",
            json!({ "list": "elsewhere", "code": "crack", "characterisation": ["A"], "fit": "wider" }),
            vec![],
        ),
        (
            "/codes/0/same_as/-",
            json!({ "list": "elsewhere", "code": "split", "when": ["along"] }),
            vec![],
        ),
        (
            "/codes/0/same_as/-",
            json!({ "list": "elsewhere", "code": "crack", "when": ["along"] }),
            vec![(K::Ambiguous, "/codes/0/same_as/2")],
        ),
        (
            "/codes/1/same_as",
            json!([{ "list": "elsewhere", "code": "crack" }]),
            vec![(K::Ambiguous, "/codes/1/same_as/0")],
        ),
        (
            "/codes/1/same_as",
            json!([{ "list": "elsewhere", "code": "crack", "fit": "wider" }]),
            vec![],
        ),
        // Conditions that the code cannot meet.
        (
            "/codes/0/same_as/-",
            json!({ "list": "elsewhere", "code": "split", "when": ["allong"] }),
            vec![(K::Unknown, "/codes/0/same_as/2/when/0")],
        ),
        (
            "/codes/0/same_as/-",
            json!({ "list": "elsewhere", "code": "split", "when": ["along", "sharp", "long"] }),
            vec![(K::Unknown, "/codes/0/same_as/2/when/2")],
        ),
        (
            "/codes/0/quantities/0/when",
            json!(["uphill"]),
            vec![(K::Unknown, "/codes/0/quantities/0/when/0")],
        ),
        // An available list: its codes, values and amounts must exist and mean the same.
        ("/codes/1/same_as", json!([{ "list": "en-13508-2", "code": "BBA" }]), vec![]),
        (
            "/codes/1/same_as",
            json!([{ "list": "en-13508-2", "code": "BBX" }]),
            vec![(K::Link, "/codes/1/same_as/0/code")],
        ),
        (
            "/codes/1/same_as",
            json!([{ "list": "en-13508-2", "code": "BAB", "characterisation": ["F", "A"] }]),
            vec![(K::Unknown, "/codes/1/same_as/0/characterisation/0")],
        ),
        // An open place may have unknown letters.
        (
            "/codes/1/same_as",
            json!([{ "list": "en-13508-2", "code": "BAK", "characterisation": ["J"] }]),
            vec![],
        ),
        (
            "/codes/0/same_as/1",
            json!({ "list": "en-13508-2", "code": "BAB", "quantities": [{ "own": "width", "other": "width" }] }),
            vec![],
        ),
        (
            "/codes/0/same_as/1",
            json!({ "list": "en-13508-2", "code": "BAB", "quantities": [{ "own": "widht", "other": "wide" }] }),
            vec![
                (K::Link, "/codes/0/same_as/1/quantities/0/own"),
                (K::Link, "/codes/0/same_as/1/quantities/0/other"),
            ],
        ),
        (
            "/codes/0/same_as/1",
            json!({ "list": "en-13508-2", "code": "BBA", "quantities": [{ "own": "width", "other": "loss" }] }),
            vec![(K::Contradiction, "/codes/0/same_as/1/quantities/0")],
        ),
        (
            "/codes/0/same_as/1",
            json!({ "list": "en-13508-2", "code": "BBA", "quantities": [{ "own": "share", "other": "loss" }] }),
            vec![(K::Contradiction, "/codes/0/same_as/1/quantities/0")],
        ),
        (
            "/codes/0/same_as/1",
            json!({ "list": "en-13508-2", "code": "BCA", "characterisation": ["A"],
                    "quantities": [{ "own": "width", "other": "height" }, { "own": "width", "other": "width" }] }),
            vec![(K::Duplicate, "/codes/0/same_as/1/quantities/1")],
        ),
        // Duplicate names.
        ("/codes/1/label/en", json!("crack"), vec![(K::Duplicate, "/codes/1/label/en")]),
        (
            "/codes/0/characterisation/0/values/1/label/en",
            json!("along"),
            vec![(K::Duplicate, "/codes/0/characterisation/0/values/1/label/en")],
        ),
        ("/codes/0/label", json!({}), vec![(K::Empty, "/codes/0/label")]),
        ("/codes/0/characterisation/0/required", json!(false), vec![]),
        ("/codes/0/characterisation/1/required", json!(true), vec![]),
        (
            "/codes/0/characterisation/1/name",
            json!("course"),
            vec![(K::Duplicate, "/codes/0/characterisation/1")],
        ),
        (
            "/codes/0/characterisation/1/values",
            json!([]),
            vec![(K::Empty, "/codes/0/characterisation/1/values")],
        ),
        (
            "/codes/0/characterisation/1",
            json!({ "name": "edge", "required": false, "open": true }),
            vec![],
        ),
        (
            "/codes/0/characterisation/0/values/1/value",
            json!("along"),
            vec![(K::Duplicate, "/codes/0/characterisation/0/values/1")],
        ),
        (
            "/codes/0/characterisation/0/values/1/label",
            json!({}),
            vec![(K::Empty, "/codes/0/characterisation/0/values/1/label")],
        ),
        ("/codes/0/quantities/0/max", json!(0), vec![(K::EmptyRange, "/codes/0/quantities/0")]),
        ("/codes/0/quantities/0/max", json!(-1), vec![(K::EmptyRange, "/codes/0/quantities/0")]),
        ("/codes/0/quantities/0/max", Value::Null, vec![]),
        (
            "/codes/0/quantities/1/name",
            json!("width"),
            vec![(K::Duplicate, "/codes/0/quantities/1")],
        ),
        ("/codes/0/quantities/1/required", json!(true), vec![(K::Order, "/codes/0/quantities/1")]),
        ("/codes/0/quantities/0/required", json!(true), vec![]),
        (
            "/codes/0/quantities/1/of",
            Value::Null,
            vec![(K::Contradiction, "/codes/0/quantities/1")],
        ),
        (
            "/codes/0/quantities/0/of",
            json!("height"),
            vec![(K::Contradiction, "/codes/0/quantities/0")],
        ),
        ("/codes/1/clock/extent", json!("point"), vec![(K::Contradiction, "/codes/1/clock")]),
    ];
    for (pointer, new, expected) in cases {
        let list = read_list(&with(list(), pointer, new.clone()));
        assert_problems(&list.problems(), &expected, &format!("{pointer} = {new}"));
    }
    let swapped = with(
        with(list(), "/codes/0/characterisation/0/required", json!(false)),
        "/codes/0/characterisation/1/required",
        json!(true),
    );
    assert_problems(
        &read_list(&swapped).problems(),
        &[(K::Order, "/codes/0/characterisation/1")],
        "required behind optional",
    );
}

#[test]
fn inconsistencies_in_a_scheme_are_found() {
    use ListProblemKind as K;
    let terms = read_list(&list());
    assert_problems(&read_scheme(&scheme()).problems(&terms), &[], "the scheme as it is");
    let band = |from: f64, below: Option<f64>, grade: u8| json!({ "quantity": "width", "from": from, "below": below, "grade": grade });
    let bands = |bands: &[Value]| {
        let mut bands = Value::from(bands);
        for band in bands.as_array_mut().unwrap() {
            band.as_object_mut().unwrap().retain(|_, value| !value.is_null());
        }
        bands
    };
    let cases: Vec<(&str, Value, Vec<Expected>)> = vec![
        ("/code_list/version", json!("2"), vec![(K::OtherList, "/code_list")]),
        ("/code_list/list", json!("other"), vec![(K::OtherList, "/code_list")]),
        ("/scale/worst", json!(4), vec![(K::OffScale, "/scale/worst")]),
        ("/scale/worst", json!(2), vec![(K::OffScale, "/scale/steps/2")]),
        (
            "/scale/best",
            json!(3),
            vec![
                (K::EmptyRange, "/scale"),
                (K::OffScale, "/scale/steps/0"),
                (K::OffScale, "/scale/steps/1"),
            ],
        ),
        (
            "/scale/steps/1/grade",
            json!(1),
            vec![
                (K::Duplicate, "/scale/steps/1"),
                (K::OffScale, "/entries/1/bands/1"),
                (K::OffScale, "/entries/2/grade"),
            ],
        ),
        ("/scale/steps/1/label", json!({}), vec![(K::Empty, "/scale/steps/1/label")]),
        (
            "/aspects",
            json!(["structural"]),
            vec![(K::Unknown, "/entries/2/aspect"), (K::Unknown, "/entries/3/aspect")],
        ),
        (
            "/aspects",
            json!(["structural", "operational", "structural"]),
            vec![(K::Duplicate, "/aspects/2")],
        ),
        (
            "/entries/3/code",
            json!("root"),
            vec![(K::Unknown, "/entries/3/code"), (K::NotGraded, "/entries/2")],
        ),
        ("/entries/3/grade", json!(4), vec![(K::OffScale, "/entries/3/grade")]),
        ("/entries/1/bands/0/grade", json!(0), vec![(K::OffScale, "/entries/1/bands/0")]),
        ("/entries/3/grade", Value::Null, vec![(K::NotGraded, "/entries/3")]),
        ("/entries/1/grade", Value::Null, vec![(K::NotGraded, "/entries/1")]),
        (
            "/entries/0/characterisation",
            json!(["round"]),
            vec![(K::Unknown, "/entries/0/characterisation/0"), (K::Unreachable, "/entries/0")],
        ),
        ("/entries/0/characterisation", json!(["along", "sharp"]), vec![]),
        (
            "/entries/0/characterisation",
            json!(["along", "sharp", "x"]),
            vec![(K::Unknown, "/entries/0/characterisation/2"), (K::Unreachable, "/entries/0")],
        ),
        (
            "/entries/0/size",
            json!({ "from": 300, "below": 300 }),
            vec![(K::EmptyRange, "/entries/0/size"), (K::Unreachable, "/entries/0")],
        ),
        ("/entries/0/size", json!({ "from": 300 }), vec![]),
        // After an entry without conditions, the others are never used.
        ("/entries/2/materials", json!([]), vec![(K::Unreachable, "/entries/3")]),
        // A material class that the code cannot have.
        ("/entries/2/materials", json!(["metal"]), vec![(K::Unreachable, "/entries/2")]),
        // All material classes do not cover every pipe: the material may be unknown.
        (
            "/entries/3/materials",
            json!(["clayware", "concrete"]),
            vec![(K::NotGraded, "/entries/3")],
        ),
        (
            "/entries/1/bands",
            bands(&[band(0.0, Some(5.0), 1), band(6.0, None, 2)]),
            vec![(K::Gap, "/entries/1/bands/1")],
        ),
        (
            "/entries/1/bands",
            bands(&[band(0.0, Some(7.0), 1), band(6.0, None, 2)]),
            vec![(K::Overlap, "/entries/1/bands/1")],
        ),
        (
            "/entries/1/bands",
            bands(&[band(0.0, None, 1), band(6.0, None, 2)]),
            vec![(K::Overlap, "/entries/1/bands/1")],
        ),
        ("/entries/1/bands", bands(&[band(1.0, None, 1)]), vec![(K::Gap, "/entries/1/bands/0")]),
        (
            "/entries/1/bands",
            bands(&[band(0.0, Some(50.0), 1)]),
            vec![(K::Gap, "/entries/1/bands/0")],
        ),
        ("/entries/1/bands", bands(&[band(0.0, Some(50.1), 1)]), vec![]),
        (
            "/entries/1/bands",
            bands(&[band(0.0, Some(0.0), 1), band(0.0, None, 2)]),
            vec![(K::EmptyRange, "/entries/1/bands/0")],
        ),
        (
            "/entries/1/bands/0/quantity",
            json!("depth"),
            vec![
                (K::Contradiction, "/entries/1/bands/1"),
                (K::Unknown, "/entries/1/bands/0/quantity"),
            ],
        ),
        (
            "/entries/1/bands/1/quantity",
            json!("share"),
            vec![(K::Contradiction, "/entries/1/bands/1")],
        ),
        (
            "/entries/1/bands",
            json!([{ "quantity": "share", "from": 0, "grade": 1 }]),
            vec![(K::Gap, "/entries/1/bands/0")],
        ),
        ("/rollup/interval/value", json!(0), vec![(K::EmptyRange, "/rollup/interval")]),
        ("/rollup/per_length/value", json!(-1), vec![(K::EmptyRange, "/rollup/per_length")]),
    ];
    for (pointer, new, expected) in cases {
        let scheme = read_scheme(&with(scheme(), pointer, new.clone()));
        assert_problems(&scheme.problems(&terms), &expected, &format!("{pointer} = {new}"));
    }
    let without = with(with(scheme(), "/entries/3", Value::Null), "/entries/2", Value::Null);
    assert_problems(
        &read_scheme(&without).problems(&terms),
        &[(K::NotGraded, "/entries")],
        "no entry for a defect",
    );
    // Three entries that together leave no case for the fourth, though none does alone.
    let mut together = scheme();
    together["entries"] = json!([
        { "code": "crack", "aspect": "structural", "size": { "below": 300 }, "grade": 1 },
        { "code": "crack", "aspect": "structural", "size": { "from": 300 }, "grade": 2 },
        { "code": "crack", "aspect": "structural", "size": { "from": 100, "below": 500 }, "grade": 3 },
        { "code": "crack", "aspect": "structural", "grade": 1 },
        { "code": "roots", "aspect": "operational", "grade": 1 }
    ]);
    assert_problems(
        &read_scheme(&together).problems(&terms),
        &[(K::Unreachable, "/entries/2")],
        "covered by two together",
    );
}

#[test]
fn likely_intended_values_are_suggested() {
    let near = |list: Value| {
        read_list(&list).problems().first().and_then(|problem| problem.suggestion.clone())
    };
    assert_eq!(
        near(with(list(), "/codes/0/same_as/0/code", json!("rots"))).as_deref(),
        Some("roots")
    );
    let link = |code: &str, letters: Value| json!([{ "list": "en-13508-2", "code": code, "characterisation": letters }]);
    assert_eq!(
        near(with(list(), "/codes/1/same_as", link("BBF1", json!([])))).as_deref(),
        Some("BBF")
    );
    let amounts = json!([{ "list": "en-13508-2", "code": "BBA", "quantities": [{ "own": "los", "other": "los" }] }]);
    let problems = read_list(&with(list(), "/codes/1/same_as", amounts)).problems();
    let suggested: Vec<_> = problems.iter().map(|problem| problem.suggestion.as_deref()).collect();
    assert_eq!(suggested, [None, Some("loss")]);
    let terms = read_list(&list());
    let near = |scheme: Value| {
        read_scheme(&scheme).problems(&terms).first().and_then(|problem| problem.suggestion.clone())
    };
    assert_eq!(near(with(scheme(), "/entries/3/code", json!("root"))).as_deref(), Some("roots"));
    let band = json!([{ "quantity": "widht", "from": 0, "grade": 1 }]);
    assert_eq!(near(with(scheme(), "/entries/1/bands", band)).as_deref(), Some("width"));
    assert_eq!(
        near(with(scheme(), "/entries/0/characterisation", json!(["allong"]))).as_deref(),
        Some("along")
    );
}

/// Reading loses and adds nothing: the files equal the types.
#[test]
fn lists_survive_reading_and_writing() {
    let list: Value = serde_json::from_str(LIST).unwrap();
    assert_eq!(normal(serde_json::to_value(CodeList::obvert_terms()).unwrap()), normal(list));
    let list: Value = serde_json::from_str(STANDARD).unwrap();
    assert_eq!(normal(serde_json::to_value(CodeList::en_13508_2()).unwrap()), normal(list));
    let scheme: Value = serde_json::from_str(SCHEME).unwrap();
    assert_eq!(normal(serde_json::to_value(GradeScheme::obvert_grades()).unwrap()), normal(scheme));
}

/// A whole number and the same number with a fraction of zero are equal.
fn normal(value: Value) -> Value {
    match value {
        Value::Number(number) => json!(number.as_f64()),
        Value::Array(items) => items.into_iter().map(normal).collect(),
        Value::Object(entries) => {
            entries.into_iter().map(|(key, value)| (key, normal(value))).collect()
        }
        other => other,
    }
}
