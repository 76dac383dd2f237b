//! The fast road: the head, then one run at a time.
//!
//! The canonical form puts `runs` last, after all that they refer to. Where a hand has put it elsewhere, the runs
//! are skipped over once and read in a second pass; the caller sees no difference but the time.

use std::borrow::Cow;
use std::fmt;
use std::marker::PhantomData;

use serde::de::value::MapAccessDeserializer;
use serde::de::{Deserialize, DeserializeSeed, Deserializer, Error, IntoDeserializer, MapAccess, SeqAccess, Visitor};
use serde_json::value::RawValue;

use super::diagnose;
use super::document::SetAside;
use super::error::ReadError;
use super::ids::IdWatch;
use crate::tables::{Head, Observation, Run};

/// The runs of a document, one after the other.
pub trait Runs {
    /// The next run; `None` after the last, and also when reading failed, which [`stream`] then returns as its error.
    fn next_run(&mut self) -> Option<Run>;

    /// Takes back the observations of a run that nobody needs any more. What was allocated on one thread is freed there fastest.
    fn give_back(&mut self, observations: Vec<Observation>) {
        drop(observations);
    }
}

/// Reads a document as a stream: calls `work` once with the head and the runs to be taken from it.
///
/// Memory is that of the head and of one run, as long as `work` drops what it is given. Runs that `work` leaves are
/// read all the same, since a document is valid as a whole or not at all. If the document turns out to be invalid
/// the result of `work` is thrown away. Where `runs` stands before other tables, `work` is called again with the
/// whole head; it must not count on being called once.
///
/// # Errors
/// As [`super::document`].
///
/// ```
/// let source = br#"{
///   "obvert": "0.2", "id": "d", "issued": "2026-05-06T16:20:00-05:00", "units": { "length": "ft", "section": "in" },
///   "coding": { "list": "obvert-terms", "version": "1" },
///   "runs": [
///     { "id": "R1", "pipe": "L-101", "direction": "downstream", "surveyed": 212.4 },
///     { "id": "R2", "pipe": "L-102", "direction": "upstream", "surveyed": 98.6 }
///   ]
/// }"#;
/// // Each run is dropped before the next is read.
/// let total = obvert_model::read::stream(source, |_head, runs| {
///     let mut total = 0.0;
///     while let Some(run) = runs.next_run() {
///         total += run.surveyed.map_or(0.0, |length| length.get());
///     }
///     total
/// })?;
/// assert_eq!(total, 311.0);
/// # Ok::<(), obvert_model::read::ReadError>(())
/// ```
pub fn stream<T>(source: &[u8], mut work: impl FnMut(&Head, &mut dyn Runs) -> T) -> Result<T, ReadError> {
    let source = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
    // Once for the whole source is faster than once for every text in it.
    let Ok(text) = std::str::from_utf8(source) else {
        return Err(diagnose::explain(source, &serde::de::Error::custom("not UTF-8")));
    };
    let mut ids = IdWatch::default();
    match first_pass(text, &mut ids, &mut work) {
        Ok(Some(result)) => ids.verdict(source).map(|()| result),
        Ok(None) => {
            ids = IdWatch::default();
            match second_pass(text, &mut ids, &mut work) {
                Ok(result) => ids.verdict(source).map(|()| result),
                Err(error) => Err(diagnose::explain(source, &error)),
            }
        }
        Err(error) => Err(diagnose::explain(source, &error)),
    }
}

type Work<'w, T> = dyn FnMut(&Head, &mut dyn Runs) -> T + 'w;

/// `Ok(None)` when `runs` is not the last key.
fn first_pass<T>(source: &str, ids: &mut IdWatch, work: &mut Work<'_, T>) -> Result<Option<T>, serde_json::Error> {
    let mut early = false;
    let mut reader = serde_json::Deserializer::from_str(source);
    let result = reader.deserialize_map(InOrder { ids, work, early: &mut early, result: PhantomData });
    match result {
        Err(_) if early => Ok(None),
        Err(error) => Err(error),
        Ok(result) => reader.end().map(|()| Some(result)),
    }
}

fn second_pass<T>(source: &str, ids: &mut IdWatch, work: &mut Work<'_, T>) -> Result<T, serde_json::Error> {
    struct Apart;
    impl<'de> Visitor<'de> for Apart {
        type Value = (Head, Option<&'de RawValue>);
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("an obvert document")
        }
        fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Self::Value, A::Error> {
            let mut keys = SetAside { map, runs: None::<&'de RawValue> };
            let head = Head::deserialize(MapAccessDeserializer::new(&mut keys))?;
            Ok((head, keys.runs))
        }
    }
    let mut reader = serde_json::Deserializer::from_str(source);
    let (head, raw) = reader.deserialize_map(Apart)?;
    reader.end()?;
    ids.head(&head);
    match raw {
        None => Ok(work(&head, &mut NoRuns)),
        Some(raw) if depth(raw.get()) >= DEEPEST => {
            Err(serde::de::Error::custom("lists and objects stand more than 127 deep in each other; flatten the data"))
        }
        Some(raw) => RunsSeed { head, ids, work }.deserialize(&mut serde_json::Deserializer::from_str(raw.get())),
    }
}

/// How deep serde_json reads; the runs stand one level below the top. Read apart from their document they would be
/// let off that level, and the order of keys would decide about the verdict.
const DEEPEST: usize = 127;

fn depth(json: &str) -> usize {
    let (mut open, mut deepest, mut in_text, mut escaped) = (0usize, 0usize, false, false);
    for byte in json.bytes() {
        match byte {
            _ if escaped => escaped = false,
            b'\\' => escaped = in_text,
            b'"' => in_text = !in_text,
            b'[' | b'{' if !in_text => {
                open += 1;
                deepest = deepest.max(open);
            }
            b']' | b'}' if !in_text => open = open.saturating_sub(1),
            _ => {}
        }
    }
    deepest
}

struct InOrder<'s, 'w, T> {
    ids: &'s mut IdWatch,
    work: &'s mut Work<'w, T>,
    early: &'s mut bool,
    result: PhantomData<T>,
}

impl<'de, T> Visitor<'de> for InOrder<'_, '_, T> {
    type Value = T;
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an obvert document")
    }
    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<T, A::Error> {
        let mut keys = UpToRuns { map: &mut map, reached: false };
        let head = Head::deserialize(MapAccessDeserializer::new(&mut keys));
        let reached = keys.reached;
        // A key that the head lacks may stand behind the runs.
        *self.early = reached && head.is_err();
        let head = head?;
        self.ids.head(&head);
        if !reached {
            return Ok((self.work)(&head, &mut NoRuns));
        }
        let result = map.next_value_seed(RunsSeed { head, ids: self.ids, work: self.work })?;
        if map.next_key::<serde::de::IgnoredAny>()?.is_some() {
            *self.early = true;
            return Err(A::Error::custom("runs is not the last key"));
        }
        Ok(result)
    }
}

/// Hands on every key up to `runs`, and there says that the object ends.
struct UpToRuns<'m, A> {
    map: &'m mut A,
    reached: bool,
}

impl<'de, A: MapAccess<'de>> MapAccess<'de> for UpToRuns<'_, A> {
    type Error = A::Error;
    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, A::Error> {
        match self.map.next_key::<Cow<'de, str>>()? {
            None => Ok(None),
            Some(key) if key == "runs" => {
                self.reached = true;
                Ok(None)
            }
            Some(key) => seed.deserialize(key.into_deserializer()).map(Some),
        }
    }
    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, A::Error> {
        self.map.next_value_seed(seed)
    }
}

struct RunsSeed<'s, 'w, T> {
    head: Head,
    ids: &'s mut IdWatch,
    work: &'s mut Work<'w, T>,
}

impl<'de, T> DeserializeSeed<'de> for RunsSeed<'_, '_, T> {
    type Value = T;
    fn deserialize<D: Deserializer<'de>>(self, source: D) -> Result<T, D::Error> {
        source.deserialize_seq(self)
    }
}

impl<'de, T> Visitor<'de> for RunsSeed<'_, '_, T> {
    type Value = T;
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a list of runs")
    }
    fn visit_seq<A: SeqAccess<'de>>(self, seq: A) -> Result<T, A::Error> {
        let mut runs = Pull { seq, ids: self.ids, error: None, ended: false, lifetime: PhantomData };
        let result = (self.work)(&self.head, &mut runs);
        while runs.next_run().is_some() {}
        match runs.error {
            Some(error) => Err(error),
            None => Ok(result),
        }
    }
}

struct Pull<'de, 's, A: SeqAccess<'de>> {
    seq: A,
    ids: &'s mut IdWatch,
    error: Option<A::Error>,
    ended: bool,
    lifetime: PhantomData<&'de ()>,
}

impl<'de, A: SeqAccess<'de>> Runs for Pull<'de, '_, A> {
    fn next_run(&mut self) -> Option<Run> {
        if self.ended {
            return None;
        }
        match self.seq.next_element::<Run>() {
            Ok(Some(run)) => {
                self.ids.run(&run);
                Some(run)
            }
            Ok(None) => {
                self.ended = true;
                None
            }
            Err(error) => {
                self.ended = true;
                self.error = Some(error);
                None
            }
        }
    }
}

struct NoRuns;

impl Runs for NoRuns {
    fn next_run(&mut self) -> Option<Run> {
        None
    }
}

/// Runs that are at hand already, for a caller that has a whole document and code that takes a stream.
impl Runs for std::vec::IntoIter<Run> {
    fn next_run(&mut self) -> Option<Run> {
        self.next()
    }
}
