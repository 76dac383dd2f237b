//! Text that XML 1.0 can hold.

use std::borrow::Cow;

/// A text in which characters that XML cannot hold are replaced, and whether there were any.
pub(super) fn escaped(text: &str) -> (Cow<'_, str>, bool) {
    let plain = |c: char| !matches!(c, '&' | '<' | '>' | '"' | '\r') && held(c);
    if text.chars().all(plain) {
        return (Cow::Borrowed(text), false);
    }
    let mut out = String::with_capacity(text.len() + 8);
    for character in text.chars() {
        match character {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\r' => out.push_str("&#13;"),
            character if held(character) => out.push(character),
            _ => out.push(char::REPLACEMENT_CHARACTER),
        }
    }
    (Cow::Owned(out), !text.chars().all(held))
}

/// A text with the references of XML.
pub(super) fn as_held(text: &str) -> String {
    text.chars()
        .map(|character| if held(character) { character } else { char::REPLACEMENT_CHARACTER })
        .collect()
}

/// The characters of XML 1.0, production 2.
fn held(character: char) -> bool {
    matches!(character, '\t' | '\n' | '\r' | '\u{20}'..='\u{D7FF}' | '\u{E000}'..='\u{FFFD}' | '\u{10000}'..)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn characters_that_xml_cannot_hold_are_replaced() {
        assert_eq!(
            escaped("a <b> & \"c\"\r"),
            ("a &lt;b&gt; &amp; &quot;c&quot;&#13;".into(), false)
        );
        assert_eq!(escaped("a\u{1}\u{FFFE}"), ("a\u{FFFD}\u{FFFD}".into(), true));
        assert_eq!(escaped("Möckern \u{1F6BD}"), ("Möckern \u{1F6BD}".into(), false));
    }
}
