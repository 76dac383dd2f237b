//! Sources that are not JSON: the place and the words of the one error that there is.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_model::read::{self, ReadError};

fn error(source: &[u8]) -> ReadError {
    read::document(source).unwrap_err()
}

#[test]
fn the_place_is_counted_in_characters() {
    for (source, line, column) in [
        ("{\"é😀\": x}", 1, 8),
        ("{\n  \"a\": 1,\n}", 3, 1),
        ("\u{FEFF}{\"a\": }", 1, 7),
        ("{\"obvert\": \"0.1\"} x", 1, 19),
        ("{\"obvert\": \"0.1\"}\n\nx", 3, 1),
    ] {
        match error(source.as_bytes()) {
            ReadError::Syntax { line: l, column: c, .. } => assert_eq!((l, c), (line, column), "{source}"),
            other => panic!("{source}: {other}"),
        }
    }
}

#[test]
fn messages_say_what_to_do() {
    for (source, message) in [
        ("", "the source is empty; expected an obvert document"),
        (
            "{\"a\": \"b",
            "line 1, column 8: not JSON: the source ends inside a string; it was cut off, or a bracket or quotation \
             mark is missing",
        ),
        ("{} {}", "line 1, column 4: not JSON: the document has ended, and something stands behind it"),
        ("PK\u{3}\u{4}", "line 1: not UTF-8 text (it begins like a zip archive); save the document as UTF-8"),
    ] {
        assert_eq!(error(source.as_bytes()).to_string(), message);
    }
    let latin = b"{\n\"a\": \"M\xFChle\"}";
    assert_eq!(
        error(latin).to_string(),
        "line 2: not UTF-8 text (it looks like an older single-byte encoding); save the document as UTF-8"
    );
}

// RFC 8259 section 2 for the grammar: whatever is cut off is not a document, wherever the cut is.
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
