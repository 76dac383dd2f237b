//! What reading stopped at, with its line and column: the first thing that is wrong with a source.

use super::error::{Problem, ProblemKind, ReadError};
use super::slip;

const TOO_DEEP: &str = "lists and objects stand more than 127 deep in each other; flatten the data";

/// The error of a source that is not UTF-8.
pub(super) fn not_text(source: &[u8]) -> ReadError {
    encoding(source).unwrap_or(ReadError::Empty)
}

/// What the parser says of a part of the source that begins at byte `begin`.
pub(super) fn error(text: &str, begin: usize, error: &serde_json::Error) -> ReadError {
    let source = text.as_bytes();
    if source.iter().all(u8::is_ascii_whitespace) {
        return ReadError::Empty;
    }
    if let Some(error) = encoding(source) {
        return error;
    }
    if !error.is_data() {
        return syntax(source, begin, error);
    }
    let (line, column) = line_and_column(source, stopped_at(source, begin, error));
    let problem = Problem::new(ProblemKind::WrongType, "", parser_message(&error.to_string()));
    ReadError::Structure(vec![Problem { line, column, ..problem }])
}

/// The error of a run that nests too deeply in its document. It begins at byte `begin`.
pub(super) fn too_deep(text: &str, begin: usize) -> ReadError {
    let (line, column) = line_and_column(text.as_bytes(), begin);
    ReadError::Syntax { line, column, message: TOO_DEEP.to_owned() }
}

/// What is wrong with the bytes, before anybody asks whether they are JSON.
pub(super) fn encoding(source: &[u8]) -> Option<ReadError> {
    let broken = std::str::from_utf8(source).err().map(|error| error.valid_up_to());
    let hint = match source {
        [b'P', b'K', 3, 4, ..] => "it begins like a zip archive",
        [0x1F, 0x8B, ..] => "it begins like a gzip archive",
        [0xFF, 0xFE, ..] | [0xFE, 0xFF, ..] => "it begins like UTF-16",
        [b'{' | b'[' | b' ' | b'\r' | b'\n', 0, ..]
        | [0, b'{' | b'[' | b' ' | b'\r' | b'\n', ..] => "it begins like UTF-16",
        _ if source.contains(&0) => "it looks binary",
        _ => {
            broken?;
            "it looks like an older single-byte encoding"
        }
    };
    let at = broken.or_else(|| source.iter().position(|byte| *byte == 0)).unwrap_or(0);
    Some(ReadError::Encoding {
        line: 1 + source[..at].iter().filter(|byte| **byte == b'\n').count(),
        hint,
    })
}

/// Where the source stops being JSON, from what the parser says of the part of it that begins at
/// byte `begin`.
pub(super) fn syntax(source: &[u8], begin: usize, error: &serde_json::Error) -> ReadError {
    let whole = error.to_string();
    let message = match parser_message(&whole) {
        "recursion limit exceeded" => TOO_DEEP.to_owned(),
        // The parser's words for a UTF-16 escape whose other half is missing (RFC 8259 section
        // 8.2).
        "unexpected end of hex escape" | "lone leading surrogate in hex escape" => {
            "a text has half a character in it, an escape from \\ud800 to \\udfff without its other half; write the character itself"
                .to_owned()
        }
        "trailing characters" => "the document has ended, and something stands behind it".to_owned(),
        message => match message.strip_prefix("EOF while parsing ") {
            Some(what) => {
                format!("the source ends inside {what}; it was cut off, or a bracket or quotation mark is missing")
            }
            None => message.to_owned(),
        },
    };
    let mut at = stopped_at(source, begin, error);
    // The parser stops at a control character in a text that it reads, and before it in one that
    // it skips.
    if whole.starts_with("control character") && !source.get(at).is_some_and(u8::is_ascii_control) {
        at += 1;
    }
    let (line, column) = line_and_column(source, at);
    // Where the source ends too early or too late, that is the slip.
    let told = whole.starts_with("trailing characters") || whole.contains("hex escape");
    let guess = (!error.is_eof() && !told).then(|| slip::likely(source, at));
    let message = match guess.flatten() {
        Some(slip) => format!("{message}; {slip}"),
        None => message,
    };
    ReadError::Syntax { line, column, message }
}

/// The parser ends its message with the position, which the error has in fields of its own.
fn parser_message(whole: &str) -> &str {
    whole.rsplit_once(" at line ").map_or(whole, |(message, _)| message)
}

/// The byte at which the parser stopped. At the end of a line it is in column 0 of the next.
fn stopped_at(source: &[u8], begin: usize, error: &serde_json::Error) -> usize {
    let part = source.get(begin..).unwrap_or_default();
    let lines_before = error.line().saturating_sub(1);
    let newline = |count: usize| {
        part.iter().enumerate().filter(|(_, byte)| **byte == b'\n').nth(count).map(|(at, _)| at)
    };
    let line = begin
        + lines_before
            .checked_sub(1)
            .map_or(0, |before| newline(before).map_or(part.len(), |at| at + 1));
    match error.column() {
        0 => line.saturating_sub(usize::from(lines_before > 0)),
        column => (line + column - 1).min(source.len()),
    }
}

/// Both from 1; the column counts characters.
fn line_and_column(source: &[u8], at: usize) -> (usize, usize) {
    let before = source.get(..at).unwrap_or(source);
    let line = before
        .iter()
        .rposition(|byte| *byte == b'\n')
        .map_or(before, |newline| &before[newline + 1..]);
    let number = 1 + before.iter().filter(|byte| **byte == b'\n').count();
    (number, 1 + String::from_utf8_lossy(line).chars().count())
}
