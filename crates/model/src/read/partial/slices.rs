//! The elements of a list, as slices of the source.

use serde::de::DeserializeOwned;

use crate::read::scan;

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
