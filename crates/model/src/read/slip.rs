//! What a person probably did where a source stops being JSON. Surveys are mended by hand, by
//! people who do not read JSON: a parser's word for what it expected does not tell them that a
//! comma stands where a point belongs.

/// The likely slip at a place in a source, as advice; `None` where nothing is likely. `at` is the
/// byte at which the reader stopped, or one near it.
pub(super) fn likely(source: &[u8], at: usize) -> Option<&'static str> {
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
        return Some("texts stand between straight double quotation marks (\"), not single ones");
    }
    if around.windows(2).any(|pair| pair == [0xE2, 0x80]) {
        return Some("texts stand between straight double quotation marks (\"), not curly ones");
    }
    if decimal_comma(line, here) {
        return Some("a number has a comma in it; its decimal mark is a point, such as 62.5");
    }
    let before = source[..at].iter().rev().find(|byte| !byte.is_ascii_whitespace());
    let stopped = source.get(at).or_else(|| source.last());
    match (before, stopped) {
        (Some(b','), Some(b',')) => Some("two commas follow each other; take one out"),
        (Some(b','), Some(b'}' | b']')) => {
            Some("a comma stands before the closing bracket; take it out")
        }
        (_, Some(b'\\')) | (Some(b'\\'), _) => {
            Some("write a slash (/) between folders, or two backslashes")
        }
        (_, Some(b'\n' | b'\r')) if open_text(&source[from..at]) => {
            Some("a text in this line has no quotation mark at its end")
        }
        (Some(b'"' | b'}' | b']' | b'0'..=b'9' | b'e' | b'l'), Some(b'"' | b'{' | b'[')) => {
            Some("a comma is missing before this")
        }
        (Some(b'0'..=b'9'), Some(b' ' | b'a'..=b'z' | b'A'..=b'Z')) => {
            Some("a number stands alone; its unit is said under units, or beside it as \"unit\"")
        }
        (Some(b':' | b',' | b'['), Some(b'a'..=b'z' | b'A'..=b'Z' | b'_')) => {
            Some("a word without quotation marks; put it between straight double ones (\")")
        }
        _ => None,
    }
}

/// Whether digits, a comma and digits stand at a place, with the reader in or just behind them.
fn decimal_comma(line: &[u8], here: usize) -> bool {
    let near = here.saturating_sub(6)..(here + 2).min(line.len());
    let digit = |index: usize| line.get(index).is_some_and(u8::is_ascii_digit);
    let lone = |index: usize| {
        // In a list of numbers a comma belongs between two; behind a key it does not.
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

/// Whether a line leaves a text open.
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
