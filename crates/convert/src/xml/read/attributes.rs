//! The attributes of a tag, strictly by the recommendation: the markup library is lenient about
//! them, and a document that other tools refuse must be refused here too.

use super::super::text::{is_space, reference};

/// An attribute as it is written: its name with its prefix, and its value with references resolved.
#[derive(Debug, PartialEq)]
pub(super) struct Attribute<'t> {
    pub(super) name: &'t str,
    pub(super) value: String,
    /// Byte offset of its name in the parsed text.
    pub(super) offset: usize,
}

/// Whether a text can be the part of a name before or after a colon.
pub(super) fn is_name(name: &str) -> bool {
    let begins = |letter: char| letter.is_alphabetic() || letter == '_';
    let goes_on =
        |letter: char| letter.is_alphanumeric() || matches!(letter, '_' | '-' | '.' | '\u{b7}');
    name.starts_with(begins) && name.chars().all(goes_on)
}

/// Whether a text is a name, or two names separated by a colon.
pub(super) fn is_qualified(name: &str) -> bool {
    name.split_once(':')
        .map_or_else(|| is_name(name), |(prefix, local)| is_name(prefix) && is_name(local))
}

/// The text between the name of a tag and its end, as attributes; or the offset and message of an
/// error.
pub(super) fn parse(text: &str) -> Result<Vec<Attribute<'_>>, (usize, String)> {
    let mut found: Vec<Attribute<'_>> = Vec::new();
    let mut at = 0;
    loop {
        let rest = &text[at..];
        let space = rest.len() - rest.trim_start_matches(is_space).len();
        at += space;
        let rest = &text[at..];
        if rest.is_empty() {
            return Ok(found);
        }
        if space == 0 {
            return Err((at, "white space is missing before an attribute".to_owned()));
        }
        let wrong = || {
            (
                at,
                "this is not an attribute; write a name, = and a value in quotation marks"
                    .to_owned(),
            )
        };
        let equals = rest.find('=').ok_or_else(wrong)?;
        let name = rest[..equals].trim_end_matches(is_space);
        if !is_qualified(name) {
            return Err(wrong());
        }
        let value = rest[equals + 1..].trim_start_matches(is_space);
        let quote =
            value.chars().next().filter(|quote| matches!(quote, '"' | '\'')).ok_or_else(wrong)?;
        let end = value[1..].find(quote).ok_or_else(wrong)?;
        let raw = &value[1..=end];
        if found.iter().any(|other| other.name == name) {
            return Err((at, format!("the attribute {name:?} is duplicated; keep one")));
        }
        found.push(Attribute {
            name,
            value: resolve(raw).map_err(|message| (at, message))?,
            offset: at,
        });
        at = text.len() - value.len() + end + 2;
    }
}

/// Resolves references and replaces white space by spaces (section 3.3.3 of the recommendation).
fn resolve(raw: &str) -> Result<String, String> {
    if raw.contains('<') {
        return Err("a value of an attribute has a <; write it as &lt;".to_owned());
    }
    let mut value = String::with_capacity(raw.len());
    let mut rest = raw;
    while let Some(at) = rest.find(['&', '\t', '\n', '\r']) {
        value.push_str(&rest[..at]);
        rest = &rest[at..];
        if let Some(after) = rest.strip_prefix('&') {
            let end =
                after.find(';').ok_or("an & does not start a reference; write it as &amp;")?;
            let letter =
                reference(&after[..end]).ok_or_else(|| unknown_reference(&after[..end]))?;
            value.push(letter);
            rest = &after[end + 1..];
        } else {
            value.push(' ');
            rest = rest.strip_prefix("\r\n").unwrap_or(&rest[1..]);
        }
    }
    value.push_str(rest);
    Ok(value)
}

/// Why a reference is refused.
pub(super) fn unknown_reference(name: &str) -> String {
    let name: String = name.chars().take(40).collect();
    format!(
        "the reference &{name}; is not defined; use &lt; &gt; &amp; &apos; &quot; or the number of a character"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn attributes_are_read_by_the_letter() {
        let names = |text| {
            parse(text).map(|all| all.into_iter().map(|a| (a.name, a.value)).collect::<Vec<_>>())
        };
        assert_eq!(names(""), Ok(vec![]));
        assert_eq!(names("  "), Ok(vec![]));
        assert_eq!(
            names(" a='1>\"' \n b:c = \"&lt;&#x41;\t\r\n'\" "),
            Ok(vec![("a", "1>\"".to_owned()), ("b:c", "<A  '".to_owned())])
        );
    }

    #[test]
    fn what_xml_does_not_allow_is_refused() {
        for text in [
            "a='1'",
            " a",
            " a=1",
            " a='1",
            " a='1'b='2'",
            " a='1' a='2'",
            " a='<'",
            " a='&'",
            " a='&x;'",
            " =''",
            " 1='2'",
            " a:b:c=''",
            " :a=''",
            " a:=''",
            " /",
            " a='1' /",
            " 'a'='b'",
            " a b='1'",
            " é='é",
        ] {
            assert!(parse(text).is_err(), "{text}");
        }
    }
}
