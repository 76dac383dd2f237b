//! The one visitor for arbitrary JSON. The caller chooses the type of tree, and whether duplicate
//! keys are refused or noted.

use std::cell::RefCell;
use std::fmt::{self, Write as _};
use std::marker::PhantomData;

use serde::de::{DeserializeSeed, Deserializer, Error, MapAccess, SeqAccess, Visitor};
#[cfg(feature = "diagnose")]
use serde_json::value::RawValue;
use serde_json::{Map, Number, Value};

#[cfg(feature = "diagnose")]
use super::scan;
use crate::edit::token;

/// A type that JSON is read into.
pub(crate) trait Tree: Sized {
    /// The entries of an object.
    type Entries: Default;
    /// What is accepted, for messages.
    const EXPECTED: &'static str;
    fn null() -> Self;
    fn boolean(value: bool) -> Self;
    fn number<E: Error>(value: Number) -> Result<Self, E>;
    fn string(value: &str) -> Self;
    fn list(items: Vec<Self>) -> Self;
    fn object(entries: Self::Entries) -> Self;
    fn has(entries: &Self::Entries, key: &str) -> bool;
    fn insert(entries: &mut Self::Entries, key: String, value: Self);
}

impl Tree for Value {
    type Entries = Map<String, Value>;
    const EXPECTED: &'static str = "JSON";
    fn null() -> Self {
        Self::Null
    }
    fn boolean(value: bool) -> Self {
        Self::Bool(value)
    }
    fn number<E: Error>(value: Number) -> Result<Self, E> {
        Ok(Self::Number(value))
    }
    fn string(value: &str) -> Self {
        Self::String(value.to_owned())
    }
    fn list(items: Vec<Self>) -> Self {
        Self::Array(items)
    }
    fn object(entries: Map<String, Value>) -> Self {
        Self::Object(entries)
    }
    fn has(entries: &Map<String, Value>, key: &str) -> bool {
        entries.contains_key(key)
    }
    fn insert(entries: &mut Map<String, Value>, key: String, value: Self) {
        entries.insert(key, value);
    }
}

/// Reads a tree and refuses duplicate keys.
pub(crate) fn strict<'de, D: Deserializer<'de>, T: Tree>(source: D) -> Result<T, D::Error> {
    Seed { duplicates: None, tree: PhantomData }.deserialize(source)
}

/// Parses JSON and refuses duplicate keys. `serde_json` would silently keep the last value.
///
/// # Errors
/// If the text is not JSON, or a key is duplicated.
pub fn strict_value(text: &str) -> Result<Value, serde_json::Error> {
    let mut reader = serde_json::Deserializer::from_str(text);
    let value = strict(&mut reader)?;
    reader.end().map(|()| value)
}

/// Parses JSON and notes the pointers of duplicate keys. The value keeps the last of them.
#[cfg(feature = "diagnose")]
pub(super) fn noting_duplicates(source: &[u8]) -> Result<(Value, Vec<String>), serde_json::Error> {
    let duplicates = Duplicates::default();
    let mut reader = serde_json::Deserializer::from_slice(source);
    let value =
        Seed { duplicates: Some(&duplicates), tree: PhantomData }.deserialize(&mut reader)?;
    reader.end()?;
    Ok((value, duplicates.found.into_inner()))
}

/// An object in parts: some of its members as text, the rest as a value.
#[cfg(feature = "diagnose")]
pub(super) struct Parted<'s> {
    pub(super) rest: Value,
    /// The pointers of duplicate keys in the rest.
    pub(super) duplicates: Vec<String>,
    /// The members that are kept as text, in the order of the source.
    pub(super) apart: Vec<(String, &'s str)>,
}

/// Parses an object without some of its members; `None` if it is not an object, or has one of them
/// twice.
#[cfg(feature = "diagnose")]
pub(super) fn parted<'s>(
    source: &'s str,
    keys: &[&str],
) -> Result<Option<Parted<'s>>, serde_json::Error> {
    if !source.trim_start().starts_with('{') {
        return Ok(None);
    }
    let duplicates = Duplicates::default();
    let mut apart = Vec::new();
    let mut reader = serde_json::Deserializer::from_str(source);
    let visitor = Parts { keys, duplicates: &duplicates, apart: &mut apart };
    let rest = reader.deserialize_map(visitor)?;
    reader.end()?;
    let repeated = apart
        .iter()
        .enumerate()
        .any(|(at, (key, _))| apart[..at].iter().any(|(earlier, _)| earlier == key));
    let duplicates = duplicates.found.into_inner();
    Ok((!repeated).then_some(Parted { rest, duplicates, apart }))
}

/// The position after the opening bracket of a member of an object that is a list, in a source that
/// is JSON.
#[cfg(feature = "diagnose")]
pub(super) fn list_in(source: &str, member: &str) -> Option<usize> {
    let mut at = scan::skip_space(source.as_bytes(), 0) + 1;
    loop {
        let bytes = source.as_bytes();
        at = scan::skip_space(bytes, at);
        let end = scan::string_end(bytes, at)?;
        let key = serde_json::from_str::<String>(source.get(at..end)?).ok()?;
        let value = scan::skip_space(bytes, scan::skip_space(bytes, end) + 1);
        if key == member {
            return (bytes.get(value) == Some(&b'[')).then_some(value + 1);
        }
        at = scan::skip_space(bytes, scan::value_end(bytes, value)?) + 1;
    }
}

/// Reads an object as a value, and keeps some of its members as text.
#[cfg(feature = "diagnose")]
struct Parts<'d, 's> {
    keys: &'d [&'d str],
    duplicates: &'d Duplicates,
    apart: &'d mut Vec<(String, &'s str)>,
}

#[cfg(feature = "diagnose")]
impl<'s> Visitor<'s> for Parts<'_, 's> {
    type Value = Value;
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(Value::EXPECTED)
    }
    fn visit_map<A: MapAccess<'s>>(self, mut source: A) -> Result<Value, A::Error> {
        let mut rest = Map::new();
        while let Some(key) = source.next_key::<String>()? {
            if self.keys.contains(&key.as_str()) {
                self.apart.push((key, source.next_value::<&RawValue>()?.get()));
                continue;
            }
            let above = self.duplicates.enter(format_args!("{}", token(&key)));
            if rest.contains_key(&key) {
                self.duplicates.note();
            }
            let seed = Seed { duplicates: Some(self.duplicates), tree: PhantomData };
            let value = source.next_value_seed(seed)?;
            self.duplicates.leave(above);
            rest.insert(key, value);
        }
        Ok(Value::Object(rest))
    }
}

#[derive(Default)]
struct Duplicates {
    /// The pointer of the current value.
    pointer: RefCell<String>,
    found: RefCell<Vec<String>>,
}

impl Duplicates {
    /// Enters a value. Returns what [`Self::leave`] needs.
    fn enter(&self, token: fmt::Arguments<'_>) -> usize {
        let mut pointer = self.pointer.borrow_mut();
        let above = pointer.len();
        // Writing to a string does not fail.
        let _ = write!(pointer, "/{token}");
        above
    }

    fn leave(&self, above: usize) {
        self.pointer.borrow_mut().truncate(above);
    }

    fn note(&self) {
        self.found.borrow_mut().push(self.pointer.borrow().clone());
    }
}

struct Seed<'d, T> {
    /// Where duplicate keys are noted; without it they are refused.
    duplicates: Option<&'d Duplicates>,
    tree: PhantomData<T>,
}

impl<T> Clone for Seed<'_, T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T> Copy for Seed<'_, T> {}

impl<'de, T: Tree> DeserializeSeed<'de> for Seed<'_, T> {
    type Value = T;
    fn deserialize<D: Deserializer<'de>>(self, source: D) -> Result<T, D::Error> {
        source.deserialize_any(self)
    }
}

impl<'de, T: Tree> Visitor<'de> for Seed<'_, T> {
    type Value = T;
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(T::EXPECTED)
    }
    fn visit_unit<E>(self) -> Result<T, E> {
        Ok(T::null())
    }
    fn visit_bool<E>(self, value: bool) -> Result<T, E> {
        Ok(T::boolean(value))
    }
    fn visit_u64<E: Error>(self, value: u64) -> Result<T, E> {
        T::number(value.into())
    }
    fn visit_i64<E: Error>(self, value: i64) -> Result<T, E> {
        T::number(value.into())
    }
    fn visit_f64<E: Error>(self, value: f64) -> Result<T, E> {
        Number::from_f64(value).map_or_else(|| Ok(T::null()), T::number)
    }
    fn visit_str<E>(self, value: &str) -> Result<T, E> {
        Ok(T::string(value))
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut source: A) -> Result<T, A::Error> {
        let mut items = Vec::new();
        loop {
            let above =
                self.duplicates.map(|duplicates| duplicates.enter(format_args!("{}", items.len())));
            let item = source.next_element_seed(self)?;
            if let (Some(duplicates), Some(above)) = (self.duplicates, above) {
                duplicates.leave(above);
            }
            match item {
                Some(item) => items.push(item),
                None => return Ok(T::list(items)),
            }
        }
    }
    fn visit_map<A: MapAccess<'de>>(self, mut source: A) -> Result<T, A::Error> {
        let mut entries = T::Entries::default();
        while let Some(key) = source.next_key::<String>()? {
            let repeats = T::has(&entries, &key);
            let value = match self.duplicates {
                None if repeats => {
                    return Err(A::Error::custom(format_args!(
                        "duplicate key {key:?}; keep one of the two"
                    )));
                }
                None => source.next_value_seed(self)?,
                Some(duplicates) => {
                    let above = duplicates.enter(format_args!("{}", token(&key)));
                    if repeats {
                        duplicates.note();
                    }
                    let value = source.next_value_seed(self)?;
                    duplicates.leave(above);
                    value
                }
            };
            T::insert(&mut entries, key, value);
        }
        Ok(T::object(entries))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_that_repeats_is_refused() {
        assert_eq!(strict_value(r#"{"a": [1, -2, 2.5, "x", true, null]}"#).unwrap()["a"][2], 2.5);
        let error = strict_value(r#"{"a": 1, "b": [{"c": 1, "c": 2}]}"#).unwrap_err();
        assert!(error.to_string().starts_with("duplicate key \"c\""), "{error}");
        assert!(strict_value("{} x").is_err());
    }

    #[cfg(feature = "diagnose")]
    #[test]
    fn a_key_that_repeats_is_noted_where_it_does() {
        let source =
            br#"{"a": 1, "b/~": [0, {"c": 1, "c": {"d": 1, "d": 2}, "c": 3}], "a": [2], "e": 5}"#;
        let (value, duplicates) = noting_duplicates(source).unwrap();
        assert_eq!(duplicates, ["/b~1~0/1/c", "/b~1~0/1/c/d", "/b~1~0/1/c", "/a"]);
        assert_eq!((&value["a"][0], &value["b/~"][1]["c"]), (&2.into(), &3.into()));
    }
}
