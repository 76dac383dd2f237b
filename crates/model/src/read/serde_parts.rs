//! Serde adapters that make the derived readers strict.

use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, Unexpected, Visitor};

/// Reads the value of a key that is present, so that `null` is refused like any other wrong type.
pub(crate) fn present<'de, D: Deserializer<'de>, T: Deserialize<'de>>(
    source: D,
) -> Result<Option<T>, D::Error> {
    T::deserialize(source).map(Some)
}

/// Reads one word of a vocabulary. Unlike serde's derived enumerations, it accepts JSON strings
/// only.
pub(crate) fn word<'de, D: Deserializer<'de>, T>(
    source: D,
    words: &'static [&'static str],
    find: fn(&str) -> Option<T>,
) -> Result<T, D::Error> {
    struct Word<T>(&'static [&'static str], fn(&str) -> Option<T>);
    impl<T> Visitor<'_> for Word<T> {
        type Value = T;
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            write!(f, "one of {}", self.0.join(", "))
        }
        fn visit_str<E: Error>(self, text: &str) -> Result<T, E> {
            (self.1)(text).ok_or_else(|| E::invalid_value(Unexpected::Str(text), &self))
        }
    }
    source.deserialize_str(Word(words, find))
}

/// Lets a derived reader see JSON objects only. Serde's derived readers also accept an array of the
/// fields' values; such a document would be read here and refused everywhere else.
pub(crate) struct ObjectOnly<D>(pub(crate) D);

impl<'de, D: Deserializer<'de>> Deserializer<'de> for ObjectOnly<D> {
    type Error = D::Error;
    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, D::Error> {
        self.0.deserialize_map(visitor)
    }
    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, D::Error> {
        self.0.deserialize_map(visitor)
    }
    serde::forward_to_deserialize_any! {
        bool i8 i16 i32 i64 u8 u16 u32 u64 f32 f64 char str string bytes byte_buf option unit unit_struct
        newtype_struct seq tuple tuple_struct map enum identifier ignored_any
    }
}
