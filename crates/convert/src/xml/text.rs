//! Text in XML 1.0, which cannot hold every character and whose tools change white space.

use std::borrow::Cow;

/// Whether XML 1.0 can hold a character (production 2 of the recommendation).
#[must_use]
pub fn is_xml_char(letter: char) -> bool {
    !matches!(letter, '\0'..='\u{8}' | '\u{b}' | '\u{c}' | '\u{e}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}')
}

/// Whether a character is white space in XML (production 3). No other spaces count.
pub(super) fn is_space(letter: char) -> bool {
    matches!(letter, ' ' | '\t' | '\r' | '\n')
}

/// A text without the white space that is ignored.
pub(super) fn trim(text: &str) -> &str {
    text.trim_matches(is_space)
}

/// Whether a text can be written as it is: all its characters are allowed, and it neither starts
/// nor ends with white space.
pub(super) fn is_plain(text: &str) -> bool {
    text.chars().all(is_xml_char) && trim(text).len() == text.len()
}

/// A value as JSON text with only characters that XML can hold.
pub(super) fn json(value: &impl std::fmt::Display) -> String {
    let text = value.to_string();
    if text.chars().all(is_xml_char) {
        return text;
    }
    // JSON text escapes control characters. Other forbidden characters are in strings, where JSON
    // has an escape for them.
    text.chars().fold(String::with_capacity(text.len()), |mut text, letter| {
        if is_xml_char(letter) {
            text.push(letter);
        } else {
            text.push_str(&format!("\\u{:04x}", u32::from(letter)));
        }
        text
    })
}

/// A text as it is written between tags or in an attribute's double quotation marks.
#[must_use]
pub fn escape(text: &str) -> Cow<'_, str> {
    let special = |byte: u8| matches!(byte, b'<' | b'>' | b'&' | b'\t' | b'\n' | b'\r');
    if !text.bytes().any(special) {
        return Cow::Borrowed(text);
    }
    let mut escaped = String::with_capacity(text.len() + 16);
    for letter in text.chars() {
        match letter {
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '&' => escaped.push_str("&amp;"),
            '\t' => escaped.push_str("&#9;"),
            '\n' => escaped.push_str("&#10;"),
            '\r' => escaped.push_str("&#13;"),
            other => escaped.push(other),
        }
    }
    Cow::Owned(escaped)
}

/// The character of a reference between `&` and `;`: one of the five names of XML, or a number.
/// Other names would need a document type declaration, which is never read.
pub(super) fn reference(name: &str) -> Option<char> {
    match name {
        "lt" => return Some('<'),
        "gt" => return Some('>'),
        "amp" => return Some('&'),
        "apos" => return Some('\''),
        "quot" => return Some('"'),
        _ => {}
    }
    let number = name.strip_prefix('#')?;
    let (digits, radix) = number.strip_prefix('x').map_or((number, 10), |digits| (digits, 16));
    // `from_str_radix` would accept a sign.
    if !digits.bytes().all(|byte| byte.is_ascii_hexdigit()) {
        return None;
    }
    char::from_u32(u32::from_str_radix(digits, radix).ok()?).filter(|letter| is_xml_char(*letter))
}

/// Whether a text is a number as JSON writes it.
pub(super) fn is_json_number(text: &str) -> bool {
    fn digits(text: &str) -> Option<&str> {
        let rest = text.trim_start_matches(|c: char| c.is_ascii_digit());
        (rest.len() < text.len()).then_some(rest)
    }
    fn number(text: &str) -> Option<&str> {
        let text = text.strip_prefix('-').unwrap_or(text);
        let mut rest = text.strip_prefix('0').map_or_else(|| digits(text), Some)?;
        if let Some(fraction) = rest.strip_prefix('.') {
            rest = digits(fraction)?;
        }
        if let Some(exponent) = rest.strip_prefix(['e', 'E']) {
            rest = digits(exponent.strip_prefix(['+', '-']).unwrap_or(exponent))?;
        }
        Some(rest)
    }
    number(text) == Some("")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn references_are_the_five_names_and_numbers() {
        for (name, letter) in [
            ("lt", '<'),
            ("amp", '&'),
            ("#13", '\r'),
            ("#x1F6BD", '\u{1f6bd}'),
            ("#x0000041", 'A'),
            ("#0065", 'A'),
        ] {
            assert_eq!(reference(name), Some(letter), "{name}");
        }
        for name in [
            "nbsp", "#", "#x", "#0", "#1", "#xFFFE", "#xD800", "#x110000", "#+65", "#x+41", "#A",
            "", "LT", "#X41",
        ] {
            assert_eq!(reference(name), None, "{name}");
        }
    }

    /// RFC 8259 section 6.
    #[test]
    fn numbers_are_those_of_json() {
        for text in ["0", "-0", "10", "1.5", "-0.25", "1e5", "1E+5", "1.25e-7", "0e0"] {
            assert!(is_json_number(text), "{text}");
            assert!(serde_json::from_str::<serde_json::Number>(text).is_ok(), "{text}");
        }
        for text in [
            "", "-", "+1", "01", "-01", "1.", ".5", "1,5", "1e", "1e+", "0x1", "INF", "NaN", "1 ",
            " 1", "1e5.0",
        ] {
            assert!(!is_json_number(text), "{text}");
        }
    }
}
