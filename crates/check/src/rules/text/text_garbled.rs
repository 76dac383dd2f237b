//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::texts::UnusualText;
use crate::views::Part;

rule! {
    /// # What it checks
    /// A text is garbled by a wrong character encoding.
    ///
    /// # Exactly
    /// A text is garbled if it contains one of these:
    /// - U+FFFD, the replacement character;
    /// - a control character (U+0000 to U+001F, U+007F to U+009F) other than tab, line feed and
    ///   carriage return;
    /// - `Â` or `Ã` followed by a character from U+0080 to U+00BF. Two cases are text: `Ã` after
    ///   another capital letter, before one from U+00A0 on, and either before the `»` of a
    ///   quotation that `«` opened;
    /// - `â€`.
    ///
    /// There is one finding for the document, at the first garbled text.
    ///
    /// # Why it matters
    /// The letters are lost, and an id matches no record.
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
    /// Portuguese in capitals.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/remark", "value": "\u00abRUA DA MANH\u00c3\u00bb"}]
    /// ```
    ///
    /// # Fix
    /// Export the text again, as UTF-8, from where it is still intact.
    name: "text-garbled", severity: Warning, scope: Throughout, since: "0.1", clause: "conventions#text",
    facts: { "places" = Count "garbled texts in the document" },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    for UnusualText { text, subject } in part.unusual_texts() {
        if garbled(text) {
            out.fold(
                |places| match places {
                    1 => "the text is garbled by a wrong character encoding".to_owned(),
                    _ => format!("{places} texts are garbled by a wrong character encoding; this is the first"),
                },
                || subject.clone(),
            );
        }
    }
}

/// Whether a text shows that it was decoded with the wrong encoding.
fn garbled(text: &str) -> bool {
    if text
        .bytes()
        .any(|byte| byte < b' ' && !matches!(byte, b'\t' | b'\n' | b'\r') || byte == 0x7f)
    {
        return true;
    }
    if text.is_ascii() {
        return false;
    }
    // The first byte of most Western letters in UTF-8, read as Latin-1, then a character that
    // follows no letter.
    let pair = |a: char, b: char| matches!(a, 'Â' | 'Ã') && ('\u{80}'..='\u{bf}').contains(&b);
    text.contains("â€")
        || text.chars().any(|c| c == '\u{fffd}' || ('\u{80}'..='\u{9f}').contains(&c))
        || text.chars().zip(text.chars().skip(1)).any(|(a, b)| pair(a, b)) && has_pair(text)
}

/// Whether one of the pairs is not a capital letter before a mark of punctuation.
fn has_pair(text: &str) -> bool {
    let (mut before, mut quoted) = ([' '; 2], false);
    for c in text.chars() {
        let [earlier, last] = before;
        if matches!(last, 'Â' | 'Ã') && ('\u{80}'..='\u{bf}').contains(&c) {
            let capitals = last == 'Ã' && earlier.is_uppercase() && c >= '\u{a0}';
            let closes = c == '»' && quoted;
            if !(capitals || closes) {
                return true;
            }
        }
        quoted |= c == '«' && last != 'Â';
        before = [last, c];
    }
    false
}

#[cfg(test)]
mod tests {
    use super::garbled;

    // UTF-8 read as Latin-1 or Windows-1252, made with Python's codecs.
    #[test]
    fn marks_of_a_wrong_encoding() {
        for text in [
            "Ã¼",
            "45Â°",
            "itâ€™s",
            "ZoÃ«",
            "caf\u{fffd}",
            "Gr\u{81}n",
            "â€œ",
            "LPB\u{1b}118",
            "GoÃ»t",
            "Â«RueÂ»",
            "LTDÂ\u{a0}",
            "SÃ\u{83}O",
            "\u{7f}",
        ] {
            assert!(garbled(text), "{text}");
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
            "«RUA DA MANHÃ»",
            "MAÇÃ\u{a0}VERDE",
            "«manhÃ»",
            "â",
            "日本",
            "one\r\n\ttwo",
        ] {
            assert!(!garbled(text), "{text}");
        }
    }
}
