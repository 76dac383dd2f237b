//! Hints for syntax errors. Surveys are edited by hand by people who do not know JSON: a parser's
//! message about what it expected does not tell them that a comma has to be a point.

/// A hint on the likely mistake at a position in a source; `None` if none is likely. `at` is the
/// byte at which the parser stopped, or one near it.
pub(super) fn hint(source: &[u8], at: usize) -> Option<&'static str> {
    let at = at.min(source.len());
    let from =
        source[..at].iter().rposition(|byte| *byte == b'\n').map_or(0, |newline| newline + 1);
    let to = source[at..]
        .iter()
        .position(|byte| *byte == b'\n')
        .map_or(source.len(), |newline| at + newline);
    let (line, here) = (&source[from..to], at - from);
    let around = &line[here.saturating_sub(3)..(here + 3).min(line.len())];
    if around.contains(&b'\'') {
        return Some("put texts in straight double quotation marks (\"), not single ones");
    }
    if around.windows(2).any(|pair| pair == [0xE2, 0x80]) {
        return Some("put texts in straight double quotation marks (\"), not curly ones");
    }
    if decimal_comma(line, here) {
        return Some("a number has a decimal comma; use a decimal point, such as 62.5");
    }
    let before = source[..at].iter().rev().find(|byte| !byte.is_ascii_whitespace());
    let stopped = source.get(at).or_else(|| source.last());
    match (before, stopped) {
        (Some(b','), Some(b',')) => Some("two commas in a row; remove one"),
        (Some(b','), Some(b'}' | b']')) => Some("a comma before the closing bracket; remove it"),
        (_, Some(b'\\')) | (Some(b'\\'), _) => {
            Some("write a slash (/) between folders, or two backslashes")
        }
        (_, Some(b'\n' | b'\r')) if open_text(&source[from..at]) => {
            Some("a text in this line has no closing quotation mark; add it")
        }
        (Some(b'"' | b'}' | b']' | b'0'..=b'9' | b'e' | b'l'), Some(b'"' | b'{' | b'[')) => {
            Some("a comma is missing before this; add it")
        }
        (Some(b'0'..=b'9'), Some(b' ' | b'a'..=b'z' | b'A'..=b'Z')) => Some(
            "a number is followed by a word; put a unit under \"units\", or next to the number as \"unit\"",
        ),
        (Some(b':' | b',' | b'['), Some(b'a'..=b'z' | b'A'..=b'Z' | b'_')) => {
            Some("a word without quotation marks; put it in straight double ones (\")")
        }
        _ => None,
    }
}

/// Whether there are digits, a comma and digits at a position, with the parser in or just after
/// them.
fn decimal_comma(line: &[u8], here: usize) -> bool {
    let near = here.saturating_sub(6)..(here + 2).min(line.len());
    let digit = |index: usize| line.get(index).is_some_and(u8::is_ascii_digit);
    let lone = |index: usize| {
        // A comma between two numbers is right in a list, but not after a key.
        let start = line[..index]
            .iter()
            .rposition(|byte| !byte.is_ascii_digit() && *byte != b'-')
            .unwrap_or(0);
        let lead = line[..=start].iter().rev().find(|byte| !byte.is_ascii_whitespace());
        lead == Some(&b':')
    };
    near.into_iter().any(|index| {
        line[index] == b',' && index > 0 && digit(index - 1) && digit(index + 1) && lone(index)
    })
}

/// Whether a line ends inside a text.
fn open_text(line: &[u8]) -> bool {
    let mut open = false;
    let mut escaped = false;
    for byte in line {
        match byte {
            _ if escaped => escaped = false,
            b'\\' => escaped = open,
            b'"' => open = !open,
            _ => {}
        }
    }
    open
}
