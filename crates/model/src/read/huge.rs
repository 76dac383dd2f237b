//! Numbers too large for a double, such as `1e400`. They are JSON, so a document with one has a
//! structural error and not a syntax error; but serde_json stops at them. The diagnostic path
//! replaces them by a smaller number that is out of range too.

use std::borrow::Cow;

use rustc_hash::FxHashMap;

use super::scan;

/// The source with every such number replaced by a placeholder of the same length, and the original
/// numbers by byte offset.
pub(super) fn replace(source: &[u8]) -> (Cow<'_, [u8]>, FxHashMap<usize, String>) {
    let mut replaced = Cow::Borrowed(source);
    let mut tokens = FxHashMap::default();
    let mut at = 0;
    while let Some(byte) = source.get(at) {
        match byte {
            b'"' => at = scan::string_end(source, at).unwrap_or(source.len()),
            b'-' | b'0'..=b'9' => {
                let token = number_at(source, at);
                if is_too_large(token) {
                    blank(&mut replaced.to_mut()[at..at + token.len()], token);
                    tokens.insert(at, shorten(token));
                }
                at += token.len();
            }
            _ => at += 1,
        }
    }
    (replaced, tokens)
}

/// Overwrites a number with its placeholder and blanks.
fn blank(place: &mut [u8], token: &str) {
    let placeholder: &[u8] = if token.starts_with('-') { b"-9e99" } else { b"9e99" };
    place.fill(b' ');
    place[..placeholder.len()].copy_from_slice(placeholder);
}

/// The characters at a position that a number can have.
fn number_at(source: &[u8], at: usize) -> &str {
    let length = source[at..]
        .iter()
        .take_while(|byte| matches!(byte, b'0'..=b'9' | b'+' | b'-' | b'.' | b'e' | b'E'))
        .count();
    std::str::from_utf8(&source[at..at + length]).unwrap_or_default()
}

/// Whether a token is a number that is too large for a double.
fn is_too_large(token: &str) -> bool {
    // Shorter numbers fit into a double, and most numbers are short.
    token.len() >= 5 && is_number(token) && token.parse::<f64>().is_ok_and(f64::is_infinite)
}

/// The placeholder of a number as a value.
pub(super) fn placeholder(token: &str) -> serde_json::Value {
    (if token.starts_with('-') { -9e99 } else { 9e99 }).into()
}

/// A message about a placeholder, with the number of the source instead.
pub(super) fn restored(message: &str, token: &str) -> String {
    message.replace(&placeholder(token).to_string(), &shorten(token))
}

fn shorten(token: &str) -> String {
    if token.len() > 60 { format!("{}…", &token[..60]) } else { token.to_owned() }
}

/// The grammar of RFC 8259 section 6. Rust's parser accepts more, but what is not JSON must stay
/// invalid.
fn is_number(token: &str) -> bool {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let token = token.strip_prefix('-').unwrap_or(token);
    let (mantissa, exponent) = token
        .split_once(['e', 'E'])
        .map_or((token, None), |(mantissa, exponent)| (mantissa, Some(exponent)));
    let (whole, fraction) = mantissa
        .split_once('.')
        .map_or((mantissa, None), |(whole, fraction)| (whole, Some(fraction)));
    digits(whole)
        && (whole == "0" || !whole.starts_with('0'))
        && fraction.is_none_or(digits)
        && exponent
            .is_none_or(|exponent| digits(exponent.strip_prefix(['+', '-']).unwrap_or(exponent)))
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 8259 section 6 for what is a number; 1.7976931348623157e308 is the largest double (IEEE
    // 754 binary64).
    #[test]
    fn only_numbers_beyond_a_double_are_replaced() {
        for (source, expected) in [
            ("[1e400, 2]", "[9e99 , 2]"),
            ("[-1e400]", "[-9e99 ]"),
            ("[1.7976931348623157e308]", "[1.7976931348623157e308]"),
            ("[1e-400, 0e99999]", "[1e-400, 0e99999]"),
            ("[01e400, 1.e400, 1e400e1]", "[01e400, 1.e400, 1e400e1]"),
            (
                r#"{"1e400": "1e400 \" 1e400", "a": 1E+999}"#,
                r#"{"1e400": "1e400 \" 1e400", "a": 9e99  }"#,
            ),
        ] {
            assert_eq!(String::from_utf8_lossy(&replace(source.as_bytes()).0), expected);
        }
    }

    #[test]
    fn a_source_that_ends_early_is_left_alone() {
        for source in ["\"", "\"\\", "-", "[1e", "1e400"] {
            let _ = replace(source.as_bytes());
        }
    }
}
