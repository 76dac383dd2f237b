//! Scans JSON text without parsing it: where a string ends, where a value ends, how deep a value is
//! nested.
//!
//! Nothing here checks that the text is JSON. Callers either know that it is, or parse what they
//! found.

/// The end of the white space at a position.
pub(crate) fn skip_space(text: &[u8], mut at: usize) -> usize {
    while matches!(text.get(at), Some(b' ' | b'\t' | b'\n' | b'\r')) {
        at += 1;
    }
    at
}

/// The position after the string that begins at `start`; `None` if the text ends inside it.
pub(crate) fn string_end(text: &[u8], start: usize) -> Option<usize> {
    let mut at = start + 1;
    loop {
        at = quote_or_backslash(text, at)?;
        match text.get(at)? {
            b'"' => return Some(at + 1),
            _ => at += 2,
        }
    }
}

/// The next quotation mark or backslash. Looks at eight bytes at a time: most of a survey's bytes
/// are in strings.
fn quote_or_backslash(text: &[u8], from: usize) -> Option<usize> {
    const ONES: u64 = u64::from_le_bytes([0x01; 8]);
    const HIGH: u64 = u64::from_le_bytes([0x80; 8]);
    /// Sets the high bit of the first byte that is zero, and of none before it.
    const fn zero_byte(word: u64) -> u64 {
        word.wrapping_sub(ONES) & !word & HIGH
    }
    const QUOTES: u64 = u64::from_le_bytes([b'"'; 8]);
    const BACKSLASHES: u64 = u64::from_le_bytes([b'\\'; 8]);
    let mut at = from;
    while let Some(chunk) = text.get(at..).and_then(|rest| rest.first_chunk::<8>()) {
        let word = u64::from_le_bytes(*chunk);
        let found = zero_byte(word ^ QUOTES) | zero_byte(word ^ BACKSLASHES);
        if found != 0 {
            return Some(at + found.trailing_zeros() as usize / 8);
        }
        at += 8;
    }
    let rest = text.get(at..)?;
    rest.iter().position(|byte| matches!(byte, b'"' | b'\\')).map(|place| at + place)
}

/// The position after the value that begins at `start`; `None` if the text ends inside it or no
/// value begins there.
pub(crate) fn value_end(text: &[u8], start: usize) -> Option<usize> {
    let mut at = start;
    match text.get(at)? {
        b'"' => return string_end(text, at),
        b'{' | b'[' => {}
        _ => {
            let length =
                text[at..].iter().take_while(|byte| !b",:]} \t\n\r".contains(byte)).count();
            return (length > 0).then_some(at + length);
        }
    }
    let mut depth = 0usize;
    loop {
        match text.get(at)? {
            b'"' => {
                at = string_end(text, at)?;
                continue;
            }
            b'{' | b'[' => depth += 1,
            b'}' | b']' => {
                depth -= 1;
                if depth == 0 {
                    return Some(at + 1);
                }
            }
            _ => {}
        }
        at += 1;
    }
}

/// The maximum number of lists and objects that are open at once.
pub(crate) fn depth(text: &[u8]) -> usize {
    let (mut at, mut open, mut deepest) = (0, 0usize, 0);
    while let Some(byte) = text.get(at) {
        match byte {
            b'"' => match string_end(text, at) {
                Some(end) => {
                    at = end;
                    continue;
                }
                None => break,
            },
            b'[' | b'{' => {
                open += 1;
                deepest = deepest.max(open);
            }
            b']' | b'}' => open = open.saturating_sub(1),
            _ => {}
        }
        at += 1;
    }
    deepest
}

/// The last element of a list, if the text ends with that list as the last value of an object: `…
/// {…} ] }`. Scans backwards, up to `within` bytes. The element is an object.
pub(crate) fn last_element(text: &str, within: usize) -> Option<&str> {
    let bytes = text.as_bytes();
    let mut at = bytes.len();
    for bracket in [b'}', b']', b'}'] {
        at = bytes[..at].iter().rposition(|byte| !b" \t\n\r".contains(byte))?;
        if bytes[at] != bracket {
            return None;
        }
    }
    let (end, least) = (at + 1, at.saturating_sub(within));
    let mut open = 1usize;
    while open > 0 {
        at = at.checked_sub(1).filter(|at| *at > least)?;
        match bytes[at] {
            b'"' => at = string_start(bytes, at)?,
            b'}' | b']' => open += 1,
            b'{' | b'[' => open -= 1,
            _ => {}
        }
    }
    text.get(at..end)
}

/// The start of the string whose closing quotation mark is at `end`. A quotation mark after an odd
/// number of backslashes is part of the string.
fn string_start(text: &[u8], end: usize) -> Option<usize> {
    let mut at = end;
    loop {
        at = text[..at].iter().rposition(|byte| *byte == b'"')?;
        let backslashes = text[..at].iter().rev().take_while(|byte| **byte == b'\\').count();
        if backslashes % 2 == 0 {
            return Some(at);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strings_end_at_the_quotation_mark_that_is_not_escaped() {
        for (text, end) in [
            (r#""""#, Some(2)),
            (r#""a" b"#, Some(3)),
            (r#""\"" "#, Some(4)),
            (r#""\\" "#, Some(4)),
            (r#""0123456\"8" x"#, Some(12)),
            (r#""01234567890123456789\\\"" x"#, Some(26)),
            (r#""open"#, None),
            (r#""\"#, None),
            (r#""0123456\"#, None),
        ] {
            assert_eq!(string_end(text.as_bytes(), 0), end, "{text}");
            if let Some(end) = end {
                assert_eq!(string_start(text.as_bytes(), end - 1), Some(0), "{text}");
            }
        }
    }

    #[test]
    fn a_word_of_eight_bytes_is_searched_to_its_first_match() {
        for at in 0..24 {
            for (mark, other) in [('"', 'x'), ('\\', '#'), ('"', '\u{fc}')] {
                let text =
                    format!("{}{mark}{}", other.to_string().repeat(at), "\"\\zz\"\\zz\"\\zz");
                let expected = text.find(mark);
                assert_eq!(quote_or_backslash(text.as_bytes(), 0), expected, "{text}");
            }
        }
    }

    #[test]
    fn values_end_where_they_end() {
        for (text, value) in [
            ("12.5, 3", Some("12.5")),
            ("true}", Some("true")),
            (r#"{"a": [1, "]}"]} ,"#, Some(r#"{"a": [1, "]}"]}"#)),
            ("[[], {}]]", Some("[[], {}]")),
            (r#""a,b": 1"#, Some(r#""a,b""#)),
            ("[1, 2", None),
            (r#"{"a": "b}"#, None),
            (", 1", None),
            ("", None),
        ] {
            assert_eq!(value_end(text.as_bytes(), 0).map(|end| &text[..end]), value, "{text}");
        }
    }

    #[test]
    fn the_last_element_is_found_from_the_end() {
        for (text, element) in [
            (r#"{"a": [{"b": 1}, {"c": "}]\""}]}"#, Some(r#"{"c": "}]\""}"#)),
            ("{\"a\": [ {\"b\": [{}]}\n ]\n}\n", Some("{\"b\": [{}]}")),
            (r#"{"a": [{"b": "\\"}]}"#, Some(r#"{"b": "\\"}"#)),
            (r#"{"a": []}"#, None),
            (r#"{"a": {"b": [{}]}}"#, None),
            (r#"}]}"#, None),
            (r#""}]}"#, None),
            ("", None),
        ] {
            assert_eq!(last_element(text, 1000), element, "{text}");
        }
        assert_eq!(last_element(r#"{"a": [{"b": "a long text"}]}"#, 5), None);
    }
}
