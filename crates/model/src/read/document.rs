//! Reads a whole document with plain serde: any source, any order of keys.

use std::borrow::Cow;
use std::fmt;

use serde::de::value::MapAccessDeserializer;
use serde::de::{
    Deserialize, DeserializeSeed, Deserializer, Error, IntoDeserializer, MapAccess, Visitor,
};

use super::ObjectOnly;
use crate::tables::{Document, Head, Run};

impl<'de> Deserialize<'de> for Document {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        struct Whole;
        impl<'de> Visitor<'de> for Whole {
            type Value = Document;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an obvert document")
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Document, A::Error> {
                let mut keys = SetAside { map, key: "runs", value: None::<Vec<Run>> };
                let head = Head::deserialize(MapAccessDeserializer::new(&mut keys))?;
                Ok(Document { head, runs: keys.value.unwrap_or_default() })
            }
        }
        ObjectOnly(source).deserialize_any(Whole)
    }
}

/// The entries of an object without one of them, whose value is kept aside: the runs of a document,
/// or the observations of a run.
pub(super) struct SetAside<A, T> {
    pub(super) map: A,
    pub(super) key: &'static str,
    pub(super) value: Option<T>,
}

impl<'de, A: MapAccess<'de>, T: Deserialize<'de>> MapAccess<'de> for SetAside<A, T> {
    type Error = A::Error;
    fn next_key_seed<K: DeserializeSeed<'de>>(
        &mut self,
        seed: K,
    ) -> Result<Option<K::Value>, A::Error> {
        loop {
            match self.map.next_key::<Cow<'de, str>>()? {
                None => return Ok(None),
                Some(key) if key == self.key => {
                    if self.value.replace(self.map.next_value()?).is_some() {
                        let message = format_args!("duplicate key `{}`", self.key);
                        return Err(A::Error::custom(message));
                    }
                }
                Some(key) => return seed.deserialize(key.into_deserializer()).map(Some),
            }
        }
    }
    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, A::Error> {
        self.map.next_value_seed(seed)
    }
}
