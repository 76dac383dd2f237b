//! An invalid code list or grade scheme of the user: the command reports its problems with location
//! and suggestion, and checks no survey with it.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use support::{obvert_in, read, status, stderr, stdout};

const LIST: &str = r#"{
  "code_list": "0.1",
  "id": "larkmoor-own", "version": "3",
  "title": "Terms of the town of Larkmoor",
  "codes": [
    {
      "code": "crack", "family": "structural",
      "label": { "en": "crack" },
      "quantities": [{ "name": "width", "unit": "mm", "min": 0, "max": 50 }],
      "clock": { "use": "required", "extent": "either" },
      "continuous": "allowed", "joint": "allowed",
      "same_as": [{ "list": "en-13508-2", "code": "BAB", "characterisation": ["B", "A"] }]
    },
    {
      "code": "roots", "family": "operational",
      "label": { "en": "roots" },
      "characterisation": [{ "name": "kind", "required": true, "values": [{ "value": "fine", "label": { "en": "fine" } }] }],
      "clock": { "use": "none" },
      "continuous": "never", "joint": "required",
      "same_as": [{ "list": "obvert-terms", "code": "roots.fine", "quantities": [] }]
    }
  ]
}
"#;

const SCHEME: &str = r#"{
  "grade_scheme": "0.1",
  "id": "larkmoor-grades", "version": "1",
  "title": "Grades of the town of Larkmoor",
  "code_list": { "list": "larkmoor-own", "version": "3" },
  "scale": { "best": 1, "worst": 2, "steps": [
    { "grade": 1, "label": { "en": "good" } },
    { "grade": 2, "label": { "en": "bad" } }
  ] },
  "aspects": ["structural", "operational"],
  "entries": [
    { "code": "crack", "aspect": "structural", "bands": [
      { "quantity": "width", "from": 0, "below": 5, "grade": 1 },
      { "quantity": "width", "from": 5, "grade": 2 }
    ], "grade": 1 },
    { "code": "roots", "aspect": "operational", "characterisation": ["fine"], "grade": 1 },
    { "code": "roots", "aspect": "operational", "grade": 2 }
  ],
  "rollup": { "interval": { "value": 1, "unit": "m" }, "per_length": { "value": 100, "unit": "m" } }
}
"#;

/// The text in the file, its replacement, the text at the reported location, and the message.
type Broken = (&'static str, &'static str, &'static str, &'static str);

const LISTS: &[Broken] = &[
    // Structure.
    (
        "\"quantities\": [{ \"name",
        "\"quantites\": [{ \"name",
        "\"quantites\"",
        "/codes/0/quantites: unknown key \"quantites\"; did you mean \"quantities\"?",
    ),
    (
        "\"title\": ",
        "\"name\": \"x\", \"title\": ",
        "\"name\": \"x\"",
        "/name: unknown key \"name\"; known keys: $schema, code_list, id, version, title, description, publisher, codes",
    ),
    (
        "\"operational\"",
        "\"operation\"",
        "\"operation\"",
        "/codes/1/family: \"operation\" is not one of: structural, operational, construction, level, housekeeping; did you mean \"operational\"?",
    ),
    (
        "\"required\": true",
        "\"required\": \"yes\"",
        "\"yes\"",
        "/codes/1/characterisation/0/required: expected true or false, found a text: \"yes\"",
    ),
    (
        "\"max\": 50",
        "\"max\": \"50 mm\"",
        "\"50 mm\"",
        "/codes/0/quantities/0/max: expected a number, found a text: \"50 mm\"",
    ),
    (
        "\"continuous\": \"never\", ",
        "",
        "{\n      \"code\": \"roots\"",
        "/codes/1: the key \"continuous\" is missing",
    ),
    (
        "{ \"en\": \"roots\" }",
        "{ \"en\": \"roots\", \"en\": \"root\" }",
        "\"en\": \"root\" ",
        "/codes/1/label/en: duplicate key in one object; keep one",
    ),
    (
        "{ \"en\": \"roots\" }",
        "{ \"english\": \"\" }",
        "\"\" }",
        "/codes/1/label/english: empty text; leave the key out if the value is not known",
    ),
    (
        "{ \"en\": \"roots\" }",
        "{ \"en us\": \"roots\" }",
        "\"roots\" }",
        "/codes/1/label/en us: \"en us\" is not a language tag (BCP 47), such as en or pt-BR",
    ),
    (
        "\"0.1\"",
        "\"1\"",
        "\"1\"",
        "/code_list: the code list is of version \"1\" of the format; this reader knows 0.1",
    ),
    // Sense.
    (
        "\"code\": \"roots\"",
        "\"code\": \"crack\"",
        "{\n      \"code\": \"crack\", \"family\": \"operational\"",
        "/codes/1: the code \"crack\" is a duplicate of /codes/0; keep one",
    ),
    (
        "{ \"en\": \"roots\" }",
        "{ \"en\": \"crack\" }",
        "\"crack\" },\n      \"char",
        "/codes/1/label/en: \"crack\" is also the en name of \"crack\"; give each its own name",
    ),
    (
        "\"min\": 0, \"max\": 50",
        "\"min\": 50, \"max\": 0",
        "{ \"name\": \"width\"",
        "/codes/0/quantities/0: the range from 50 to 0 mm is empty; put the lower number in min",
    ),
    (
        "\"code\": \"BAB\"",
        "\"code\": \"BAQ\"",
        "\"BAQ\"",
        "/codes/0/same_as/0/code: en-13508-2 has no code \"BAQ\"; did you mean \"BAP\"?",
    ),
    (
        "[\"B\", \"A\"]",
        "[\"B\", \"X\"]",
        "\"X\"",
        "/codes/0/same_as/0/characterisation/1: \"X\" is not a course of \"BAB\", which has: A, B, C, D, E",
    ),
    (
        "\"code\": \"roots.fine\"",
        "\"code\": \"root.fine\"",
        "\"root.fine\"",
        "/codes/1/same_as/0/code: obvert-terms has no code \"root.fine\"; did you mean \"roots.fine\"?",
    ),
    (
        "\"quantities\": []",
        "\"quantities\": [{ \"own\": \"share\", \"other\": \"los\" }]",
        "\"share\"",
        "/codes/1/same_as/0/quantities/0/own: \"roots\" has no amount \"share\"; it has none there",
    ),
    (
        "\"quantities\": []",
        "\"quantities\": [{ \"own\": \"share\", \"other\": \"los\" }]",
        "\"los\"",
        "/codes/1/same_as/0/quantities/0/other: \"roots.fine\" has no amount \"los\"; it has loss; did you mean \"loss\"?",
    ),
    (
        "\"quantities\": []",
        "\"when\": [\"find\"]",
        "\"find\"",
        "/codes/1/same_as/0/when/0: \"find\" is not a kind of \"roots\", which has: fine; did you mean \"fine\"?",
    ),
    (
        "\"list\": \"obvert-terms\", \"code\": \"roots.fine\"",
        "\"list\": \"en-13508-2\", \"code\": \"BAB\", \"characterisation\": [\"B\", \"A\"]",
        "{ \"list\": \"en-13508-2\", \"code\": \"BAB\", \"characterisation\": [\"B\", \"A\"], \"quantities\"",
        "/codes/1/same_as/0: \"crack\" is already the same as BAB B A of en-13508-2, so that code would translate back to two; mark the link that loses detail as wider",
    ),
    (
        "\"list\": \"obvert-terms\", \"code\": \"roots.fine\"",
        "\"list\": \"larkmoor-own\", \"code\": \"roots\"",
        "{ \"list\": \"larkmoor-own\"",
        "/codes/1/same_as/0: the code is linked to itself; remove the link",
    ),
    (
        "\"use\": \"none\"",
        "\"use\": \"none\", \"extent\": \"span\"",
        "{ \"use\": \"none\"",
        "/codes/1/clock: the code takes no clock reference but has an extent; remove the extent",
    ),
    (
        "\"unit\": \"mm\"",
        "\"unit\": \"percent\"",
        "{ \"name\": \"width\"",
        "/codes/0/quantities/0: the percentage has no reference",
    ),
];

const SCHEMES: &[Broken] = &[
    (
        "\"aspects\"",
        "\"aspect\"",
        "\"aspect\": [",
        "/aspect: unknown key \"aspect\"; did you mean \"aspects\"?",
    ),
    (
        "\"grade\": 2 }\n    ], \"grade\": 1",
        "\"grade\": \"2\" }\n    ], \"grade\": 1",
        "\"2\"",
        "/entries/0/bands/1/grade: expected a whole number, found a text: \"2\"",
    ),
    (
        "{ \"quantity\": \"width\", \"from\": 5",
        "{ \"quantity\": \"wdth\", \"from\": 5",
        "{ \"quantity\": \"wdth\"",
        "/entries/0/bands/1: the entry has bands of \"width\" and of \"wdth\"; grade by one amount",
    ),
    (
        "\"quantity\": \"width\", \"from\": 0",
        "\"quantity\": \"depth\", \"from\": 0",
        "\"depth\"",
        "/entries/0/bands/0/quantity: the code \"crack\" has no amount \"depth\"; it has width",
    ),
    (
        "\"from\": 5",
        "\"from\": 6",
        "{ \"quantity\": \"width\", \"from\": 6",
        "/entries/0/bands/1: amounts from 5 to below 6 mm have no band",
    ),
    (
        "\"from\": 5",
        "\"from\": 4",
        "{ \"quantity\": \"width\", \"from\": 4",
        "/entries/0/bands/1: amounts from 4 mm are in the previous band too",
    ),
    (
        "\"code\": \"crack\"",
        "\"code\": \"crak\"",
        "\"crak\"",
        "/entries/0/code: the code list has no code \"crak\"; did you mean \"crack\"?",
    ),
    (
        "[\"fine\"]",
        "[\"fin\"]",
        "\"fin\"",
        "/entries/1/characterisation/0: \"fin\" is not a kind of \"roots\", which has: fine; did you mean \"fine\"?",
    ),
    ("\"worst\": 2", "\"worst\": 3", "3, \"steps\"", "/scale/worst: the grade 3 has no step"),
];

fn place_of(source: &str, text: &str) -> (usize, usize) {
    assert_eq!(source.matches(text).count(), 1, "{text}");
    let offset = source.find(text).expect("the text");
    let line = 1 + source[..offset].matches('\n').count();
    (line, 1 + offset - source[..offset].rfind('\n').map_or(0, |end| end + 1))
}

#[test]
fn problems_are_shown_with_their_line() {
    let folder = tempfile::tempdir().expect("folder");
    std::fs::write(
        folder.path().join("survey.obvert.json"),
        read("examples/data/larkmoor.obvert.json"),
    )
    .expect("write");
    let check = |list: &str, scheme: &str| {
        std::fs::write(folder.path().join("list.json"), list).expect("write");
        std::fs::write(folder.path().join("scheme.json"), scheme).expect("write");
        let lists = ["--code-list", "list.json", "--grade-scheme", "scheme.json"];
        obvert_in(
            folder.path(),
            &[&["check", "survey.obvert.json", "--today", "2026-06-15"], &lists[..]].concat(),
        )
    };
    let sound = check(LIST, SCHEME);
    assert_eq!((status(&sound), stderr(&sound).as_str()), (0, ""), "{}", stdout(&sound));
    let lists = LISTS.iter().map(|case| (LIST, "list.json", case));
    let schemes = SCHEMES.iter().map(|case| (SCHEME, "scheme.json", case));
    for (whole, file, (from, to, at, message)) in lists.chain(schemes) {
        assert_eq!(whole.matches(from).count(), 1, "{from}");
        let source = whole.replace(from, to);
        let output =
            if file == "list.json" { check(&source, SCHEME) } else { check(LIST, &source) };
        let printed = stderr(&output);
        assert_eq!(status(&output), 2, "{to}: {printed}");
        assert_eq!(stdout(&output), "", "no survey is checked with it");
        let (line, column) = place_of(&source, at);
        let expected = format!("error: {file}:{line}:{column}: {message}");
        assert!(printed.lines().any(|line| line.starts_with(&expected)), "{expected}\n{printed}");
        // The line is shown, or a part of it, with a mark under the location.
        let shown: String = at.lines().next().expect("a line").chars().take(20).collect();
        assert!(
            printed.contains(&format!("{line} | "))
                && printed.contains(&shown)
                && printed.contains("| "),
            "{printed}"
        );
        assert!(printed.lines().any(|line| line.trim_end().ends_with('^')), "{printed}");
        assert!(printed.contains("before you use it"), "{printed}");
    }
}

#[test]
fn a_file_that_is_not_a_list_is_reported() {
    let folder = tempfile::tempdir().expect("folder");
    std::fs::write(
        folder.path().join("survey.obvert.json"),
        read("examples/data/larkmoor.obvert.json"),
    )
    .expect("write");
    for (source, says) in [
        (&b""[..], "list.json: the source is empty"),
        (
            b"\x1f\x8b\x08\x00",
            "list.json:1:1: not UTF-8 text (it begins like a gzip archive); save it as UTF-8",
        ),
        (b"{\n  \"code_list\": \"0.1\",\n  \"id\": oops", "list.json:3:9: not JSON: "),
        (b"id;label\nBAB;crack\n", "list.json:1:1: not JSON: "),
    ] {
        std::fs::write(folder.path().join("list.json"), source).expect("write");
        let output =
            obvert_in(folder.path(), &["check", "survey.obvert.json", "--code-list", "list.json"]);
        assert_eq!(status(&output), 2);
        assert!(stderr(&output).contains(says), "{says}\n{}", stderr(&output));
    }
    let output =
        obvert_in(folder.path(), &["check", "survey.obvert.json", "--code-list", "gone.json"]);
    assert_eq!(
        (status(&output), stderr(&output).as_str()),
        (2, "obvert: gone.json: there is no such file\n")
    );
}

/// A scheme that leaves codes without a grade may be intended: it is reported, and the scheme is
/// used.
#[test]
fn a_scheme_that_does_not_grade_all_is_used() {
    let folder = tempfile::tempdir().expect("folder");
    let survey = read("crates/check/src/minimal.obvert.json");
    std::fs::write(folder.path().join("survey.obvert.json"), survey).expect("write");
    std::fs::write(folder.path().join("list.json"), LIST).expect("write");
    let partial = SCHEME
        .replace(",\n    { \"code\": \"roots\", \"aspect\": \"operational\", \"grade\": 2 }", "");
    std::fs::write(folder.path().join("scheme.json"), partial).expect("write");
    let arguments = [
        "check",
        "survey.obvert.json",
        "--code-list",
        "list.json",
        "--grade-scheme",
        "scheme.json",
    ];
    let output = obvert_in(folder.path(), &arguments);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let message = stderr(&output);
    assert!(
        message.starts_with("warning: scheme.json:16:5: /entries/1: \"roots\" in a pipe of "),
        "{message}"
    );
}

/// A scheme grades one version of a code list: codes of another may mean something else.
#[test]
fn a_scheme_for_another_version_of_the_list_is_not_used() {
    let folder = tempfile::tempdir().expect("folder");
    let mut survey: serde_json::Value =
        serde_json::from_str(&read("crates/check/src/minimal.obvert.json")).expect("json");
    survey["coding"] = serde_json::json!({ "list": "larkmoor-own", "version": "4" });
    survey["grading"] = serde_json::json!({ "scheme": "larkmoor-grades", "version": "1" });
    std::fs::write(folder.path().join("survey.obvert.json"), survey.to_string()).expect("write");
    let newer = LIST.replace("\"version\": \"3\"", "\"version\": \"4\"");
    std::fs::write(folder.path().join("list.json"), newer).expect("write");
    let check = |scheme: String| {
        std::fs::write(folder.path().join("scheme.json"), scheme).expect("write");
        let own = ["--code-list", "list.json", "--grade-scheme", "scheme.json"];
        let arguments = [&["check", "survey.obvert.json", "--format", "json"], &own[..]].concat();
        let output = stdout(&obvert_in(folder.path(), &arguments));
        serde_json::from_str::<serde_json::Value>(&output).expect("a report")
    };
    let unknown = |report: &serde_json::Value| {
        report.to_string().contains("\"rule\":\"grade-scheme-unknown\"")
    };
    let other = check(SCHEME.to_owned());
    assert!(unknown(&other), "{other:#}");
    let why =
        "the grade scheme larkmoor-grades grades codes of larkmoor-own 3, not of larkmoor-own 4";
    assert!(other["not_run"].to_string().contains(why), "{other:#}");
    let own = SCHEME.replace("\"version\": \"3\"", "\"version\": \"4\"");
    assert!(!unknown(&check(own)));
}
