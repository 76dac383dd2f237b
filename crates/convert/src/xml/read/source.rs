//! From bytes to text: only UTF-8, and only characters that XML 1.0 allows.

use super::super::text::is_xml_char;
use crate::position::Counter;
use crate::{ConvertError, Location};

/// The text of a source, without a byte-order mark.
///
/// # Errors
/// When it is not UTF-8, does not start like XML, or has a character that XML 1.0 cannot hold.
pub fn text<'s>(source: &'s [u8], name: &str) -> Result<&'s str, ConvertError> {
    let refuse = |line: usize, message: String| {
        let place = Location { file: name.to_owned(), line, column: None, heading: None };
        ConvertError::Format { place: Some(place), message }
    };
    let rest = without_mark(source);
    let begins = match rest {
        [0xFF, 0xFE, ..] | [0xFE, 0xFF, ..] | [b'<', 0, ..] | [0, b'<', ..] | [0, 0, ..] => {
            Some("not UTF-8 text (it starts like UTF-16 or UTF-32); save the document as UTF-8")
        }
        [b'P', b'K', 3 | 5, ..] => Some("a zip archive, not XML; unpack it first"),
        [0x1F, 0x8B, ..] => Some("a gzip archive, not XML; unpack it first"),
        _ => None,
    };
    if let Some(message) = begins {
        return Err(refuse(1, message.to_owned()));
    }
    let text = std::str::from_utf8(rest).map_err(|error| {
        let good = &rest[..error.valid_up_to()];
        let line = 1 + good.iter().filter(|byte| **byte == b'\n').count();
        let hint = if rest.contains(&0) {
            "it looks binary"
        } else if error.error_len().is_none() {
            "it ends inside a character"
        } else {
            "it looks like an older single-byte encoding"
        };
        refuse(line, format!("not UTF-8 text ({hint}); save the document as UTF-8"))
    })?;
    match text.trim_start().chars().next() {
        None => return Err(refuse(1, "the source is empty; expected an XML document".to_owned())),
        Some('<') => {}
        Some('{' | '[') => {
            return Err(refuse(1, "this looks like JSON, not XML; read it as JSON".to_owned()));
        }
        Some(_) => return Err(refuse(1, "not XML: it does not start with a tag".to_owned())),
    }
    if let Some((offset, letter)) = text.char_indices().find(|(_, letter)| !is_xml_char(*letter)) {
        let message = format!(
            "XML 1.0 does not allow the character U+{:04X}; write the text as a JSON string, with encoding=\"json\"",
            u32::from(letter)
        );
        return Err(ConvertError::Format {
            place: Some(Counter::new(text).location(offset, name)),
            message,
        });
    }
    Ok(text)
}

/// The text of a source that [`text`] has checked.
pub(super) fn known_text(source: &[u8]) -> &str {
    std::str::from_utf8(without_mark(source)).unwrap_or_default()
}

fn without_mark(source: &[u8]) -> &[u8] {
    source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source)
}
