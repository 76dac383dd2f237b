//! The text of a GeoJSON file and locations in it. The parts of a collection are borrowed from the
//! text and parsed one at a time, so the location of each is known from its address, and its line
//! and column by counting from the part before.

use obvert_model::read::{Span as Found, strict_value};
use serde_json::{Map, Value};

use crate::{ConvertError, Location};

/// The text of a file.
#[derive(Clone, Copy)]
pub(super) struct Text<'s> {
    name: &'s str,
    text: &'s str,
    /// Bytes before the text: the length of a byte-order mark.
    skipped: usize,
}

/// A position in the text.
#[derive(Clone, Copy, Debug)]
pub(super) struct TextPosition {
    offset: usize,
    pub(super) line: usize,
    pub(super) column: usize,
}

impl TextPosition {
    pub(super) const START: Self = Self { offset: 0, line: 1, column: 1 };
}

impl<'s> Text<'s> {
    /// The text of a file that [`new`](Self::new) has checked.
    pub(super) fn known(bytes: &'s [u8], name: &'s str) -> Self {
        let skipped = if bytes.starts_with(b"\xEF\xBB\xBF") { 3 } else { 0 };
        Self { name, text: std::str::from_utf8(&bytes[skipped..]).unwrap_or_default(), skipped }
    }

    pub(super) fn new(bytes: &'s [u8], name: &'s str) -> Result<Self, ConvertError> {
        let skipped = if bytes.starts_with(b"\xEF\xBB\xBF") { 3 } else { 0 };
        let refused = |line: usize, message: String| ConvertError::Format {
            place: Some(Location { file: name.to_owned(), line, column: None, heading: None }),
            message,
        };
        let looks = match bytes {
            [0xFF, 0xFE, ..] | [0xFE, 0xFF, ..] => "starts like UTF-16",
            [0x1F, 0x8B, ..] => "starts like a gzip archive",
            [b'P', b'K', 3, 4, ..] => "starts like a zip archive",
            _ if bytes.contains(&0) => "looks binary",
            _ => "looks like an older single-byte encoding",
        };
        let no_text = |line: usize| {
            refused(line, format!("not UTF-8 text ({looks}); save the file as UTF-8"))
        };
        match std::str::from_utf8(&bytes[skipped..]) {
            Err(error) => Err(no_text(
                1 + bytes[..skipped + error.valid_up_to()]
                    .iter()
                    .filter(|byte| **byte == b'\n')
                    .count(),
            )),
            Ok(_) if looks != "looks like an older single-byte encoding" => Err(no_text(1)),
            Ok(text) if text.trim_ascii().is_empty() => Err(refused(
                1,
                "the file is empty; expected a GeoJSON feature collection".to_owned(),
            )),
            Ok(text) => Ok(Self { name, text, skipped }),
        }
    }

    pub(super) fn name(&self) -> &'s str {
        self.name
    }

    pub(super) fn text(&self) -> &'s str {
        self.text
    }

    /// The position of a part of the text, counted from a position before it.
    pub(super) fn position(&self, from: TextPosition, part: &str) -> TextPosition {
        let offset = part.as_ptr().addr().saturating_sub(self.text.as_ptr().addr());
        let mut position = TextPosition { offset, ..from };
        for byte in self.text.as_bytes().get(from.offset..offset).unwrap_or_default() {
            if *byte == b'\n' {
                position.line += 1;
                position.column = 1;
            } else if byte & 0xC0 != 0x80 {
                position.column += 1;
            }
        }
        position
    }

    /// The bytes of a part, as a range of the file.
    pub(super) fn range(&self, position: TextPosition, part: &str) -> std::ops::Range<usize> {
        let start = self.skipped + position.offset;
        start..start + part.len()
    }

    /// An error at a position.
    pub(super) fn error(&self, position: TextPosition, message: impl Into<String>) -> ConvertError {
        let place = Location {
            file: self.name.to_owned(),
            line: position.line,
            column: Some(position.column),
            heading: None,
        };
        ConvertError::Format { place: Some(place), message: message.into() }
    }

    /// An error of the JSON reader in a part of the text that starts at a position.
    pub(super) fn json_error(&self, part: TextPosition, error: &serde_json::Error) -> ConvertError {
        let text_of_error = error.to_string();
        // The reader's message ends with a position relative to the part.
        let message = text_of_error
            .rsplit_once(" at line ")
            .map_or(text_of_error.as_str(), |(message, _)| message);
        // Only the members of a feature are known.
        let message = match message.strip_prefix("unknown field ") {
            Some(rest) => {
                let name = rest.split('`').nth(1).unwrap_or(rest);
                format!(
                    "the feature has a member {name:?}; move it into \"properties\", or remove it"
                )
            }
            None => message.to_owned(),
        };
        let within =
            Found { line: error.line().max(1), column: error.column().max(1), ..Found::default() };
        let column = if within.line == 1 { part.column + within.column - 1 } else { within.column };
        let position = TextPosition { line: part.line + within.line - 1, column, ..part };
        let message =
            if error.is_data() { message.to_owned() } else { format!("not JSON: {message}") };
        self.error(position, message)
    }

    /// Parses a part as JSON without duplicate keys.
    pub(super) fn value(&self, position: TextPosition, part: &str) -> Result<Value, ConvertError> {
        strict_value(part).map_err(|error| self.json_error(position, &error))
    }

    /// Parses a part as a JSON object without duplicate keys.
    pub(super) fn object(
        &self,
        position: TextPosition,
        part: &str,
        what: &str,
    ) -> Result<Map<String, Value>, ConvertError> {
        match self.value(position, part)? {
            Value::Object(object) => Ok(object),
            _ => Err(self.error(position, format!("{what} must be an object"))),
        }
    }
}
