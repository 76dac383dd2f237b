//! Sources that are not JSON: the location and message of the error.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_model::read::{self, ReadError, Reader};

fn error(source: &[u8]) -> ReadError {
    read::document(source).unwrap_err()
}

#[test]
fn locations_are_counted_in_characters() {
    for (source, line, column) in [
        ("{\"é😀\": x}", 1, 8),
        ("{\n  \"a\": 1,\n}", 3, 1),
        ("\u{FEFF}{\"a\": }", 1, 7),
        ("{\"obvert\": \"0.2\"} x", 1, 19),
        ("{\"obvert\": \"0.2\"}\n\nx", 3, 1),
    ] {
        match error(source.as_bytes()) {
            ReadError::Syntax { line: l, column: c, .. } => {
                assert_eq!((l, c), (line, column), "{source}")
            }
            other => panic!("{source}: {other}"),
        }
    }
}

#[test]
fn messages_include_advice() {
    for (source, message) in [
        ("", "the source is empty"),
        (
            "{\"a\": \"b",
            "line 1, column 8: not JSON: the source ends inside a string; it is truncated, or a bracket or quotation \
             mark is missing",
        ),
        (
            r#"{"id": "\ud800"}"#,
            "line 1, column 15: not JSON: a text has half a character, an escape from \\ud800 to \\udfff without its other \
             half; write the character itself",
        ),
        (
            "{} {}",
            "line 1, column 4: not JSON: there is text after the end of the document; remove it",
        ),
        ("PK\u{3}\u{4}", "line 1: not UTF-8 text (it begins like a zip archive); save it as UTF-8"),
    ] {
        assert_eq!(error(source.as_bytes()).to_string(), message);
    }
    let latin = b"{\n\"a\": \"M\xFChle\"}";
    assert_eq!(
        error(latin).to_string(),
        "line 2: not UTF-8 text (it looks like an older single-byte encoding); save it as UTF-8"
    );
}

/// Common mistakes in manual edits, with the reported line and hint.
#[test]
fn common_mistakes_have_a_hint() {
    let slips = [
        ("\"at\": 62,5, \"code\": \"x\"", 2, "a number has a decimal comma"),
        ("\"at\": 62,5", 2, "a number has a decimal comma"),
        ("\"code\": \u{201C}x\u{201D}", 2, "not curly ones"),
        ("\"code\": 'x'", 2, "not single ones"),
        ("'code': \"x\"", 2, "not single ones"),
        ("\"at\": 1,, \"code\": \"x\"", 2, "two commas in a row"),
        ("\"at\": 1,", 3, "a comma before the closing bracket"),
        ("\"code\": \"x,\n\"at\": 1", 2, "has no closing quotation mark"),
        ("\"at\": 1\n\"code\": \"x\"", 3, "a comma is missing before this"),
        ("\"at\": 1 \"code\": \"x\"", 2, "a comma is missing before this"),
        ("\"weather\": dry", 2, "a word without quotation marks"),
        ("\"at\": 62 ft", 2, "a number is followed by a word"),
        ("\"file\": \"photos\\R-01.jpg\"", 2, "write a slash (/)"),
    ];
    for (slip, line, advice) in slips {
        match error(format!("{{\n{slip}\n}}").as_bytes()) {
            ReadError::Syntax { line: found, message, .. } => {
                assert!(message.contains(advice), "{slip}: {message}");
                assert_eq!(found, line, "{slip}: {message}");
            }
            other => panic!("{slip}: {other}"),
        }
    }
    // There is no hint if none is likely, and a list of numbers is not a decimal comma.
    for plain in ["\"a\": [1,2,3}", "\"a\": ]", "\"a\"; 1"] {
        let message = error(format!("{{\n{plain}\n}}").as_bytes()).to_string();
        assert!(!message.contains(';'), "{plain}: {message}");
    }
}

/// Both readers report the same location, whether the text with the character is read or skipped.
#[cfg(feature = "diagnose")]
#[test]
fn a_control_character_has_one_location() {
    let canonical = include_str!("../../../tests/corpus/bases/minimal.obvert.json");
    let document: serde_json::Value = serde_json::from_str(canonical).unwrap();
    let rest = canonical.split_once('{').unwrap().1;
    let reordered = format!("{{\n\"runs\": {},\n{rest}", document["runs"]);
    for source in [canonical, &reordered] {
        for put in ["\n", "\t", "\u{1}"] {
            for (at, _) in source.match_indices(": \"").step_by(5) {
                let mut spoilt = source.to_owned();
                spoilt.insert_str(at + 3, put);
                let run_by_run = Reader::new(spoilt.as_bytes()).and_then(Reader::into_document);
                let diagnosed = read::diagnose(spoilt.as_bytes()).unwrap_err().to_string();
                let read = run_by_run.unwrap_err().to_string();
                assert_eq!(read, diagnosed, "{put:?} at {at}");
            }
        }
    }
}

// RFC 8259 section 2 for the grammar: a truncated document is never valid.
#[test]
fn no_part_of_a_document_is_a_document() {
    let whole = include_bytes!("../../../tests/corpus/structure/valid-every-field.json");
    let end = whole.iter().rposition(|byte| *byte == b'}').unwrap();
    for cut in (0..=end).step_by(29) {
        match error(&whole[..cut]) {
            ReadError::Syntax { .. } | ReadError::Empty => {}
            other => panic!("{cut}: {other}"),
        }
    }
    assert!(read::document(&whole[..=end]).is_ok());
}
