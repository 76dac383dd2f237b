//! The text patterns are matched by hand on the fast path and by regular expression on the
//! diagnostic path. The patterns are the specification.

use std::sync::OnceLock;

use obvert_model::text::{
    CrsId, Date, Digest, DocumentId, ExtensionKey, Language, MediaType, Sha256, Text, TextError,
    Timestamp,
};
use proptest::prelude::*;
use proptest::sample::{Index, select};
use proptest::strategy::Union;
use regex::Regex;
use schemars::JsonSchema;

use super::generate;

struct Form {
    name: &'static str,
    pattern: String,
    regex: Regex,
    matches: fn(&str) -> bool,
}

fn form<T: JsonSchema>(name: &'static str, matches: fn(&str) -> bool) -> Form {
    let schema = T::json_schema(&mut schemars::SchemaGenerator::default());
    let pattern = schema.get("pattern").and_then(|pattern| pattern.as_str()).unwrap().to_owned();
    Form { name, regex: Regex::new(&pattern).unwrap(), pattern, matches }
}

fn forms() -> &'static [Form] {
    static FORMS: OnceLock<Vec<Form>> = OnceLock::new();
    macro_rules! forms {
        ($($name:ident)+) => { vec![$(form::<$name>(stringify!($name), |text| $name::new(text).is_ok())),+] };
    }
    FORMS.get_or_init(|| forms!(CrsId Language Timestamp Date Digest Sha256 MediaType ExtensionKey))
}

fn agree(form: &Form, text: &str) -> Result<(), TestCaseError> {
    prop_assert_eq!((form.matches)(text), form.regex.is_match(text), "{} {:?}", form.name, text);
    Ok(())
}

/// A character of one of the forms, or a similar one.
fn near() -> impl Strategy<Value = char> {
    select("0123456789abcdfgzAFZTtzé٢-+:./_!#$&^ \n\t,~".chars().collect::<Vec<_>>())
}

/// A text generated from the pattern of a form, and the form.
fn made() -> impl Strategy<Value = (usize, String)> {
    let each = forms()
        .iter()
        .enumerate()
        .map(|(which, form)| (Just(which), generate::form(&form.pattern)).boxed());
    Union::new(each.collect::<Vec<_>>())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2048, ..ProptestConfig::default() })]

    #[test]
    fn texts_generated_from_the_pattern_match(
        (which, text) in made(),
        edits in prop::collection::vec((any::<Index>(), near(), 0..3_u8), 0..3),
    ) {
        let form = &forms()[which];
        prop_assert!((form.matches)(&text), "{} {:?}", form.name, text);
        let mut chars: Vec<char> = text.chars().collect();
        for (at, c, edit) in edits {
            match edit {
                0 => chars.insert(at.index(chars.len() + 1), c),
                1 if !chars.is_empty() => { let at = at.index(chars.len()); chars[at] = c; }
                _ if !chars.is_empty() => { chars.remove(at.index(chars.len())); }
                _ => {}
            }
            agree(form, &String::from_iter(&chars))?;
        }
    }

    #[test]
    fn any_text_gets_the_same_answer(text in prop_oneof![
        generate::text(),
        prop::collection::vec(near(), 0..30).prop_map(String::from_iter),
    ]) {
        for form in forms() {
            agree(form, &text)?;
        }
    }
}

// RFC 3339 section 5.8 for the examples, section 5.6 for the grammar; the strict form is RFC 7493
// section 4.3.
#[test]
fn timestamps_of_rfc_3339() {
    for text in [
        "1985-04-12T23:20:50.52Z",
        "1996-12-19T16:39:57-08:00",
        "1990-12-31T23:59:60Z",
        "1990-12-31T15:59:60-08:00",
        "1937-01-01T12:00:27.87+00:20",
    ] {
        assert!(Timestamp::new(text).is_ok(), "{text}");
        // Lower case is allowed by RFC 3339 and not by RFC 7493.
        assert!(Timestamp::new(&text.to_lowercase()).is_err(), "{text}");
    }
}

#[test]
fn errors_describe_the_expected_text() {
    assert_eq!(Text::new(""), Err(TextError::Empty));
    assert_eq!(DocumentId::new(""), Err(TextError::Empty));
    assert_eq!(Date::new(""), Err(TextError::Empty));
    assert_eq!(Date::new("6 May").unwrap_err().to_string(), "expected a date, such as 2026-05-06");
    assert_eq!("en".parse::<Language>().unwrap().as_str(), "en");
}
