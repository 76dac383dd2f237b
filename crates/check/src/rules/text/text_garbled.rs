//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::texts::UnusualText;
use crate::views::Part;

rule! {
    /// # What it checks
    /// No text was damaged by a wrong character encoding: none has the replacement character, a control character other than a tab or
    /// the end of a line, or the marks that UTF-8 leaves when it is read as a Western code page. One finding for the document, at the first
    /// place.
    ///
    /// # Why it matters
    /// A name or a remark that was damaged is lost: the letters cannot be told any more, and every export damages them
    /// further. Ids that were damaged fit no record.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/remark`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/remark", "value": "45\u00c2\u00b0 bend"}]
    /// ```
    /// At `/parties/1/name`:
    /// ```json
    /// [{"op": "replace", "path": "/parties/1/name", "value": "Z\ufffd Vell"}]
    /// ```
    ///
    /// At `/runs/0/remark`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/remark", "value": "certificate LPB\u001b 118"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/remark", "value": "45\u00b0 bend at the caf\u00e9, \u00c2ge unknown, S\u00c3O \u2014 \u201c\u00c5\u201d"}]
    /// ```
    ///
    /// # Fix
    /// Export again as UTF-8 from where the text is still whole.
    name: "text-garbled", severity: Warning, scope: Throughout, since: "0.1", clause: "conventions#text",
    facts: { "places" = Count "texts of the document that are damaged" },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    for UnusualText { text, subject } in part.unusual_texts() {
        if damaged(text) {
            out.fold(
                |places| match places {
                    1 => "the text was damaged by a wrong character encoding".to_owned(),
                    _ => format!("{places} texts were damaged by a wrong character encoding; this is the first"),
                },
                || subject.clone(),
            );
        }
    }
}

/// Whether a text has the marks of a wrong encoding.
fn damaged(text: &str) -> bool {
    if text.bytes().any(|byte| byte < b' ' && !matches!(byte, b'\t' | b'\n' | b'\r') || byte == 0x7f) {
        return true;
    }
    if text.is_ascii() {
        return false;
    }
    // The first byte of most letters in UTF-8, as Latin-1 has it, and what follows it: a sign that follows no letter.
    let pair = |a: char, b: char| matches!(a, 'Â' | 'Ã') && ('\u{80}'..='\u{bf}').contains(&b);
    text.contains("â€")
        || text.chars().any(|c| c == '\u{fffd}' || ('\u{80}'..='\u{9f}').contains(&c))
        || text.chars().zip(text.chars().skip(1)).any(|(a, b)| pair(a, b))
}

#[cfg(test)]
mod tests {
    use super::damaged;

    // What UTF-8 becomes when it is read as Latin-1 or Windows-1252, made with Python's codecs.
    #[test]
    fn marks_of_a_wrong_encoding() {
        for text in ["Ã¼", "45Â°", "itâ€™s", "ZoÃ«", "caf\u{fffd}", "Gr\u{81}n", "â€œ", "LPB\u{1b}118", "\u{7f}"]
        {
            assert!(damaged(text), "{text}");
        }
        for text in [
            "ü",
            "45°",
            "it’s",
            "Zoë",
            "SÃO",
            "ÂGE",
            "“Å”",
            "«KÖ»",
            "Ä–",
            "10 ½",
            "Straße",
            "â",
            "日本",
            "one\r\n\ttwo",
        ] {
            assert!(!damaged(text), "{text}");
        }
    }
}
