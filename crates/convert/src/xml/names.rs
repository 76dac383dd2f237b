//! The names of elements for keys and items, which the writer, the reader and the schema share.

use std::borrow::Cow;

use obvert_model::shape::Shape;

/// The name of the root element.
pub(super) const ROOT: &str = "survey";
/// The element of one extension.
pub(super) const EXTENSION: &str = "extension";
/// The attribute with the name of an extension.
pub(super) const EXTENSION_NAME: &str = "name";
/// The attribute of a text that is written as a JSON string.
pub(super) const ENCODING: &str = "encoding";
/// The only value of [`ENCODING`].
pub(super) const JSON: &str = "json";

/// The element of a key. Keys have letters, digits and `_` only, except `$schema`.
pub(super) fn element(key: &str) -> &str {
    key.trim_start_matches('$')
}

/// The element of an item of a list.
pub(super) fn item(item: &Shape) -> Cow<'static, str> {
    match item {
        Shape::Object(name) => {
            let mut words = String::new();
            for (index, letter) in name.chars().enumerate() {
                if letter.is_ascii_uppercase() && index > 0 {
                    words.push('_');
                }
                words.push(letter.to_ascii_lowercase());
            }
            words.into()
        }
        Shape::Position => "position".into(),
        _ => "item".into(),
    }
}

#[cfg(test)]
mod tests {
    use obvert_model::shape;

    use super::*;

    #[test]
    fn every_key_has_an_element_of_its_own() {
        for object in shape::objects() {
            let mut names: Vec<&str> =
                object.fields.iter().map(|field| element(&field.name)).collect();
            for name in &names {
                let plain = name.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'_');
                assert!(
                    plain && name.starts_with(|first: char| first.is_ascii_alphabetic()),
                    "{name}"
                );
            }
            names.sort_unstable();
            names.dedup();
            assert_eq!(names.len(), object.fields.len(), "{}", object.name);
        }
    }

    #[test]
    fn items_are_named_by_their_shape() {
        assert_eq!(item(&Shape::Object("CounterCheck".into())), "counter_check");
        assert_eq!(item(&Shape::Object("Pipe".into())), "pipe");
        assert_eq!(item(&Shape::Position), "position");
        assert_eq!(item(&Shape::Text), "item");
    }
}
