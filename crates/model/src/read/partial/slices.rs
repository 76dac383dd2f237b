//! The elements of a list, as slices of the source.

use std::fmt;

use serde::de::value::MapAccessDeserializer;
use serde::de::{DeserializeOwned, Deserializer as _, MapAccess, Visitor};
use serde_json::value::RawValue;

use crate::read::document::SetAside;
use crate::read::scan;
use crate::tables::Run;

pub(super) fn typed<T: DeserializeOwned>(text: &str) -> Result<T, serde_json::Error> {
    let mut reader = serde_json::Deserializer::from_str(text);
    T::deserialize(&mut reader).and_then(|row| reader.end().map(|()| row))
}

/// The elements of a list, in a source that is JSON.
#[derive(Debug)]
pub(super) struct Slices<'s> {
    pub(super) text: &'s str,
    /// The position after the opening bracket or the last element.
    pub(super) at: usize,
    pub(super) count: usize,
}

impl<'s> Iterator for Slices<'s> {
    /// The number of the element, where it begins, and its text.
    type Item = (usize, usize, &'s str);

    fn next(&mut self) -> Option<Self::Item> {
        let bytes = self.text.as_bytes();
        let mut begin = scan::skip_space(bytes, self.at);
        if bytes.get(begin) == Some(&b',') {
            begin = scan::skip_space(bytes, begin + 1);
        }
        if bytes.get(begin) == Some(&b']') {
            return None;
        }
        let end = scan::value_end(bytes, begin)?;
        (self.at, self.count) = (end, self.count + 1);
        Some((self.count - 1, begin, self.text.get(begin..end)?))
    }
}

/// A run without its observations, and their list as text. `None` if the run is not sound without
/// them, or has no such list.
pub(super) fn run_and_observations(text: &str) -> Option<(Run, &str)> {
    struct Apart;
    impl<'de> Visitor<'de> for Apart {
        type Value = (Run, Option<&'de RawValue>);
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("a run")
        }
        fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Self::Value, A::Error> {
            let mut keys = SetAside { map, key: "observations", value: None::<&'de RawValue> };
            let run = Run::deserialize(MapAccessDeserializer::new(&mut keys))?;
            Ok((run, keys.value))
        }
    }
    let mut reader = serde_json::Deserializer::from_str(text);
    let (run, observations) = reader.deserialize_map(Apart).ok()?;
    reader.end().ok()?;
    let list = observations?.get();
    list.starts_with('[').then_some((run, list))
}
