//! See the rule's documentation below.

use obvert_model::misread::damage;

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
    /// - letters beyond ASCII that are UTF-8 read as an encoding of single bytes (Western, Central
    ///   European, Cyrillic, Greek, Turkish or Baltic), such as `Ã¼` for ü and `Ĺ™` for ř. A single
    ///   pair that can also be a letter before a dash or a quotation mark, such as `Ä–`, must be
    ///   inside a word. `Ã` after a capital letter is text before a mark, as in `«MANHÃ»`.
    ///
    /// There is one finding for the document, at the first garbled text in its order. Checked are
    /// the texts of `text-untrimmed`.
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
        if damage(text).is_some() {
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
