//! Code lists that cannot be read: every structural problem with its location and suggestion.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_model::lists::{CodeList, GradeScheme};
use obvert_model::read::ProblemKind;
use obvert_model::read::ReadError;

const LIST: &str = include_str!("../data/code-lists/obvert-terms.json");

/// A list as a person writes it, to break one thing at a time.
const WRITTEN: &str = r#"{
  "code_list": "0.1",
  "id": "larkmoor-terms", "version": "3",
  "title": "Terms of the town of Larkmoor",
  "codes": [
    {
      "code": "crack", "family": "structural",
      "label": { "en": "crack", "de": "Riss" },
      "quantities": [{ "name": "width", "unit": "mm", "min": 0, "max": 50 }],
      "clock": { "use": "required", "extent": "either" },
      "continuous": "allowed", "joint": "allowed",
      "same_as": [{ "list": "en-13508-2", "code": "BAB", "characterisation": ["B"] }]
    }
  ]
}"#;

/// The text in the list, its replacement, and the expected problem: kind, pointer, the text at the
/// location, a part of the message, and the suggestion.
type Broken = (
    &'static str,
    &'static str,
    ProblemKind,
    &'static str,
    &'static str,
    &'static str,
    Option<&'static str>,
);

#[test]
fn structural_problems_have_location_and_suggestion() {
    use ProblemKind as K;
    assert!(CodeList::read(WRITTEN.as_bytes()).unwrap().problems().is_empty());
    let cases: &[Broken] = &[
        (
            "\"quantities\"",
            "\"quantites\"",
            K::UnknownKey,
            "/codes/0/quantites",
            "\"quantites\"",
            "unknown key",
            Some("quantities"),
        ),
        (
            "\"title\"",
            "\"note\"",
            K::UnknownKey,
            "/note",
            "\"note\"",
            "known keys: $schema, code_list",
            None,
        ),
        ("\"title\"", "\"note\"", K::MissingKey, "", "{", "the key \"title\" is missing", None),
        (
            "\"structural\"",
            "\"structual\"",
            K::UnknownWord,
            "/codes/0/family",
            "\"structual\"",
            "is not one of: structural, operational",
            Some("structural"),
        ),
        (
            "\"mm\"",
            "\"millimetres\"",
            K::UnknownWord,
            "/codes/0/quantities/0/unit",
            "\"millimetres\"",
            "is not one of: mm, in",
            None,
        ),
        (
            "\"max\": 50",
            "\"max\": \"50\"",
            K::WrongType,
            "/codes/0/quantities/0/max",
            "\"50\"",
            "expected a number, found a text",
            None,
        ),
        (
            "[\"B\"]",
            "\"B\"",
            K::WrongType,
            "/codes/0/same_as/0/characterisation",
            "\"B\" }",
            "expected a list, found a text",
            None,
        ),
        (
            "\"max\": 50",
            "\"max\": null",
            K::NullValue,
            "/codes/0/quantities/0/max",
            "null",
            "leave the key out",
            None,
        ),
        (
            "\"crack\", \"family\"",
            "\"\", \"family\"",
            K::EmptyText,
            "/codes/0/code",
            "\"\"",
            "empty text",
            None,
        ),
        (
            "\"de\": \"Riss\"",
            "\"en\": \"Riss\"",
            K::DuplicateKey,
            "/codes/0/label/en",
            "\"en\": \"Riss\"",
            "duplicate key",
            None,
        ),
        (
            "\"de\": \"Riss\"",
            "\"de_DE\": \"Riss\"",
            K::TextForm,
            "/codes/0/label/de_DE",
            "\"Riss\"",
            "is not a language tag",
            None,
        ),
        (
            "\"0.1\"",
            "\"0.2\"",
            K::UnknownWord,
            "/code_list",
            "\"0.2\"",
            "the code list is of version \"0.2\" of the format; this reader knows 0.1",
            None,
        ),
    ];
    for (from, to, kind, pointer, at, message, near) in cases {
        assert_eq!(WRITTEN.matches(from).count(), 1, "{from}");
        let source = WRITTEN.replace(from, to);
        let error = CodeList::read(source.as_bytes()).unwrap_err();
        let found = error
            .problems()
            .iter()
            .find(|problem| problem.kind == *kind && problem.pointer == *pointer);
        let found = found.unwrap_or_else(|| panic!("{to}: {:#?}", error.problems()));
        let offset = source.find(at).unwrap();
        let line = 1 + source[..offset].matches('\n').count();
        let column = 1 + offset - source[..offset].rfind('\n').map_or(0, |end| end + 1);
        assert_eq!((found.line, found.column), (line, column), "{to}");
        assert!(found.message.contains(message), "{to}: {}", found.message);
        assert_eq!(found.suggestion.as_deref(), *near, "{to}");
    }
}

/// Each kind of file has its own error type, with the cause as its source.
#[test]
fn errors_name_the_kind_of_file_and_the_cause() {
    use std::error::Error;
    let errors: [(Box<dyn Error>, &str); 4] = [
        (CodeList::read(b"[]").unwrap_err().into(), "code list"),
        (GradeScheme::read(b"[]").unwrap_err().into(), "grade scheme"),
        (obvert_model::profile::Profile::read(b"[]").unwrap_err().into(), "profile"),
        (obvert_model::layout::Layout::read(b"[]").unwrap_err().into(), "layout"),
    ];
    for (error, what) in errors {
        assert_eq!(error.to_string(), format!("not a valid {what}"));
        let cause = error.source().unwrap().to_string();
        assert_eq!(cause, "line 1, column 1: the document: expected an object, found a list: []");
    }
}

#[test]
fn syntax_errors_have_a_location() {
    let cut = &WRITTEN[..WRITTEN.len() - 10];
    for (source, line, message) in [
        ("", 1, "the source is empty"),
        (cut, 13, "not JSON: the source ends inside an object"),
        ("{\n \"code_list\": 0.1,,\n}", 2, "not JSON: "),
        ("[]", 1, "the document: expected an object, found a list: []"),
        ("\u{FEFF}[]", 1, "the document: expected an object, found a list: []"),
    ] {
        let error = ReadError::from(CodeList::read(source.as_bytes()).unwrap_err());
        let text = error.message();
        assert_eq!(error.line_and_column().0, line, "{text}");
        assert!(text.starts_with(message), "{text}");
    }
    assert!(
        ReadError::from(CodeList::read(b"\x1f\x8b\x08").unwrap_err()).message().contains("gzip")
    );
    // Everything at once, in the order of the source.
    let error =
        CodeList::read(WRITTEN.replace("\"title\"", "\"titel\"").replace("\"mm\"", "3").as_bytes())
            .unwrap_err();
    let kinds: Vec<_> = error.problems().iter().map(|problem| problem.kind).collect();
    assert_eq!(kinds, [ProblemKind::MissingKey, ProblemKind::UnknownKey, ProblemKind::WrongType]);
    let error = GradeScheme::read(LIST.as_bytes()).unwrap_err();
    assert!(
        error.problems().iter().any(|problem| problem.pointer == "/codes" && problem.line == 8),
        "{error}"
    );
    assert!(
        error.problems().iter().any(|problem| problem.message == "the key \"scale\" is missing"),
        "{error}"
    );
}
