//! The reader of JSON: the head first, then one run after the other on demand.
//!
//! The canonical form has `runs` last. The last row of the source shows whether that is the case,
//! without parsing the rest; then the head is read up to `runs`, and the runs follow. In any other
//! order the whole source is parsed once, skipping the value of `runs`, and the runs are read
//! afterwards.

use std::sync::Arc;

use serde::de::value::{BorrowedStrDeserializer, MapAccessDeserializer};
use serde::de::{
    Deserialize, DeserializeSeed, Deserializer as _, Error as _, IgnoredAny, MapAccess, Visitor,
};
use serde_json::value::RawValue;
use serde_json::{Deserializer, Error};

use super::document::SetAside;
use super::error::ReadError;
use super::ids::IdWatch;
use super::reader::RunReader;
use super::{scan, stopped};
use crate::tables::{Document, Head, Run};

/// Reads a JSON document run by run.
///
/// It keeps the head and one run in memory, whatever the size of the source. Keys can be in any
/// order; reading is fastest with `runs` last, as [`write`](mod@crate::write) writes them.
/// Duplicate ids are reported after the last run.
///
/// An error is the first problem of the source; [`super::diagnose`] finds all of them.
///
/// ```
/// use obvert_model::read::{Reader, RunReader};
/// let source = br#"{
///   "obvert": "0.2", "id": "d", "issued": "2026-05-06T16:20:00-05:00", "units": { "length": "ft", "section": "in" },
///   "coding": { "list": "obvert-terms", "version": "1" },
///   "runs": [
///     { "id": "R1", "pipe": "L-101", "direction": "downstream", "surveyed": 212.4 },
///     { "id": "R2", "pipe": "L-102", "direction": "upstream", "surveyed": 98.6 }
///   ]
/// }"#;
/// let mut reader = Reader::new(source)?;
/// assert_eq!(reader.head().id.as_str(), "d");
/// let mut total = 0.0;
/// while let Some(run) = reader.next_run()? {
///     total += run.surveyed.map_or(0.0, |length| length.get());
/// }
/// assert_eq!(total, 311.0);
/// # Ok::<(), obvert_model::read::ReadError>(())
/// ```
#[derive(Debug)]
pub struct Reader<'s> {
    text: &'s str,
    head: Arc<Head>,
    runs: Elements<'s>,
    ids: IdWatch,
    state: State,
}

#[derive(Clone, Debug)]
enum State {
    Reading,
    Ended,
    /// The document is invalid.
    Failed(ReadError),
}

impl State {
    /// The final result, after the last run.
    fn verdict(self) -> Result<(), ReadError> {
        match self {
            Self::Reading | Self::Ended => Ok(()),
            Self::Failed(error) => Err(error),
        }
    }
}

impl<'s> Reader<'s> {
    /// Reads the head.
    ///
    /// # Errors
    /// If the source is not UTF-8, not JSON as far as it was parsed, or has an invalid head.
    pub fn new(source: &'s [u8]) -> Result<Self, ReadError> {
        let source = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
        // Validating UTF-8 once is faster than once for every string.
        let Ok(text) = std::str::from_utf8(source) else { return Err(stopped::not_text(source)) };
        let (head, runs) = split(text).map_err(|error| stopped::error(text, 0, &error))?;
        let mut ids = IdWatch::default();
        ids.head(&head);
        Ok(Self { text, head: Arc::new(head), runs, ids, state: State::Reading })
    }

    /// The byte offset of the last run that was read, without a byte-order mark.
    #[must_use]
    pub fn offset(&self) -> usize {
        self.runs.begin
    }

    /// The remaining runs, as slices of the source that can be read in any order and on several
    /// threads.
    #[must_use]
    pub fn into_slices(self) -> RunSlices<'s> {
        RunSlices { head: self.head, runs: self.runs, ids: self.ids, state: self.state }
    }

    /// Reads all remaining runs.
    ///
    /// # Errors
    /// If a run is invalid, or the end of the source is.
    pub fn into_document(mut self) -> Result<Document, ReadError> {
        let mut runs = Vec::new();
        while let Some(run) = self.next_run()? {
            runs.push(run);
        }
        self.state.verdict()?;
        Ok(Document { head: Arc::unwrap_or_clone(self.head), runs })
    }

    fn read_next(&mut self) -> Result<Option<Run>, ReadError> {
        let Some(start) = self.runs.next_start()? else { return Ok(None) };
        let mut stream =
            Deserializer::from_str(self.text.get(start..).unwrap_or_default()).into_iter::<Run>();
        let run =
            stream.next().unwrap_or_else(|| Err(Error::custom("the source ends inside `runs`")));
        let run = run.map_err(|error| self.runs.failed(start, &error))?;
        self.runs.took(start, start + stream.byte_offset())?;
        Ok(Some(run))
    }
}

impl RunReader for Reader<'_> {
    type Error = ReadError;

    fn head(&self) -> &Head {
        &self.head
    }

    fn share_head(&self) -> Arc<Head> {
        Arc::clone(&self.head)
    }

    /// An error is returned once; after it there are no more runs.
    fn next_run(&mut self) -> Result<Option<Run>, ReadError> {
        if !matches!(self.state, State::Reading) {
            return Ok(None);
        }
        let read = match self.read_next() {
            Ok(None) => std::mem::take(&mut self.ids).verdict(self.text.as_bytes()).map(|()| None),
            read => read,
        };
        match &read {
            Ok(Some(run)) => self.ids.run(run),
            Ok(None) => self.state = State::Ended,
            Err(error) => self.state = State::Failed(error.clone()),
        }
        read
    }
}

/// The runs of a document as slices of its source, in order. Finding them is a scan at several
/// hundred megabytes a second; reading them can be shared between threads.
///
/// ```
/// use std::sync::Mutex;
/// use obvert_model::read::{IdWatch, Reader};
/// # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
/// # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"},
/// # {"id":"R2","pipe":"L-1","direction":"upstream"}]}"#;
/// let mut slices = Reader::new(source)?.into_slices();
/// let shared = Mutex::new(&mut slices);
/// let work = || {
///     let mut ids = IdWatch::default();
///     while let Some(slice) = { shared.lock().unwrap().next() } {
///         let slice = slice?;
///         ids.run_at(slice.index(), &slice.read()?);
///     }
///     Ok::<_, obvert_model::read::ReadError>(ids)
/// };
/// let watches = std::thread::scope(|scope| {
///     let threads = [scope.spawn(work), scope.spawn(work)];
///     threads.map(|thread| thread.join().unwrap())
/// });
/// // Duplicate ids are known after all runs.
/// let watches = watches.into_iter().collect::<Result<Vec<_>, _>>()?;
/// slices.finish(watches)?;
/// # Ok::<(), obvert_model::read::ReadError>(())
/// ```
#[derive(Debug)]
pub struct RunSlices<'s> {
    head: Arc<Head>,
    runs: Elements<'s>,
    ids: IdWatch,
    state: State,
}

impl<'s> RunSlices<'s> {
    /// Everything but the runs.
    #[must_use]
    pub fn head(&self) -> &Head {
        &self.head
    }

    /// Checks the rest of the source, and that there are no duplicate ids.
    ///
    /// `watches` must have every run that was read from the slices.
    ///
    /// # Errors
    /// If an id is a duplicate, or the end of the source is invalid.
    pub fn finish(mut self, watches: impl IntoIterator<Item = IdWatch>) -> Result<(), ReadError> {
        for slice in self.by_ref() {
            slice?;
        }
        self.state.verdict()?;
        let mut ids = self.ids;
        for watch in watches {
            ids.merge(watch);
        }
        ids.verdict(self.runs.text.as_bytes())
    }

    fn find_next(&mut self) -> Result<Option<RunSlice<'s>>, ReadError> {
        let Some(start) = self.runs.next_start()? else { return Ok(None) };
        let text = self.runs.text;
        let end = scan::value_end(text.as_bytes(), start).ok_or_else(|| self.runs.broken())?;
        self.runs.begin = start;
        self.runs.at = end;
        self.runs.count += 1;
        Ok(Some(RunSlice { source: text, offset: start, end, index: self.runs.count - 1 }))
    }
}

impl<'s> Iterator for RunSlices<'s> {
    type Item = Result<RunSlice<'s>, ReadError>;

    fn next(&mut self) -> Option<Self::Item> {
        if !matches!(self.state, State::Reading) {
            return None;
        }
        let found = self.find_next().transpose();
        match &found {
            Some(Ok(_)) => {}
            None => self.state = State::Ended,
            Some(Err(error)) => self.state = State::Failed(error.clone()),
        }
        found
    }
}

/// One run that has not been read yet.
#[derive(Clone, Copy, Debug)]
pub struct RunSlice<'s> {
    source: &'s str,
    offset: usize,
    end: usize,
    index: usize,
}

impl<'s> RunSlice<'s> {
    /// The number of the run in its document, from 0.
    #[must_use]
    pub fn index(&self) -> usize {
        self.index
    }

    /// The byte offset of the run in the source, without a byte-order mark.
    #[must_use]
    pub fn offset(&self) -> usize {
        self.offset
    }

    /// The text of the run.
    #[must_use]
    pub fn text(&self) -> &'s str {
        &self.source[self.offset..self.end]
    }

    /// Reads the run.
    ///
    /// # Errors
    /// If it is not JSON, or not a run.
    pub fn read(&self) -> Result<Run, ReadError> {
        let mut reader = Deserializer::from_str(self.text());
        let run = Run::deserialize(&mut reader).and_then(|run| reader.end().map(|()| run));
        let run = run.map_err(|error| stopped::error(self.source, self.offset, &error))?;
        if is_too_deep(self.text()) {
            Err(stopped::too_deep(self.source, self.offset))
        } else {
            Ok(run)
        }
    }
}

/// The elements of `runs`.
#[derive(Clone, Debug)]
struct Elements<'s> {
    text: &'s str,
    /// The position after the last element, or after the opening bracket.
    at: usize,
    /// Where the last element began.
    begin: usize,
    count: usize,
    rest: Rest,
}

/// What is known about the source after the runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Rest {
    /// There are no runs.
    NoRuns,
    /// The document ends there.
    Unread,
    /// It was read with the head.
    Read,
}

impl Elements<'_> {
    /// Where the next element begins; `None` after the last.
    fn next_start(&self) -> Result<Option<usize>, ReadError> {
        let bytes = self.text.as_bytes();
        if self.rest == Rest::NoRuns {
            return Ok(None);
        }
        let at = scan::skip_space(bytes, self.at);
        match bytes.get(at) {
            Some(b']') if self.rest == Rest::Read => Ok(None),
            Some(b']') => {
                let close = scan::skip_space(bytes, at + 1);
                let ends = bytes.get(close) == Some(&b'}')
                    && scan::skip_space(bytes, close + 1) == bytes.len();
                if ends { Ok(None) } else { Err(self.broken()) }
            }
            Some(b',') if self.count > 0 => Ok(Some(scan::skip_space(bytes, at + 1))),
            Some(_) if self.count == 0 => Ok(Some(at)),
            _ => Err(self.broken()),
        }
    }

    /// Records an element that was read.
    fn took(&mut self, start: usize, end: usize) -> Result<(), ReadError> {
        self.at = end;
        self.begin = start;
        self.count += 1;
        let run = self.text.get(start..end).unwrap_or_default();
        if is_too_deep(run) { Err(stopped::too_deep(self.text, start)) } else { Ok(()) }
    }

    /// The error of an element.
    fn failed(&self, start: usize, error: &Error) -> ReadError {
        if error.is_data() {
            stopped::error(self.text, start, error)
        } else {
            self.broken_or(start, error)
        }
    }

    /// The error of a source with an invalid end after the runs.
    fn broken(&self) -> ReadError {
        self.broken_or(self.at, &Error::custom("unexpected characters after a run"))
    }

    fn broken_or(&self, at: usize, error: &Error) -> ReadError {
        match any_order(self.text) {
            Err(whole) => stopped::error(self.text, 0, &whole),
            Ok(_) => stopped::error(self.text, at, error),
        }
    }
}

/// The maximum nesting of a run: serde_json reads 127 levels, and a run is inside the document and
/// its list.
const DEEPEST: usize = 125;

/// Whether a run that was read by itself is nested too deeply for its document. Only extensions can
/// be.
pub(super) fn is_too_deep(run: &str) -> bool {
    let suspect = run.contains("extensions") || run.contains('\\');
    suspect && scan::depth(run.as_bytes()) > DEEPEST
}

/// The head, and the position of the runs.
fn split(text: &str) -> Result<(Head, Elements<'_>), Error> {
    match runs_are_last(text).then(|| up_to_runs(text)).flatten() {
        Some(parts) => Ok(parts),
        None => any_order(text),
    }
}

/// Whether `runs` is the last key of a document, if the source is one. It is if the last row is a
/// run: only runs have a direction.
fn runs_are_last(text: &str) -> bool {
    #[derive(serde::Deserialize)]
    struct LastRow {
        #[serde(rename = "direction")]
        _direction: IgnoredAny,
    }
    /// Longer rows are not searched.
    const LONGEST: usize = 1 << 20;
    let row = scan::last_element(text, LONGEST);
    row.is_some_and(|row| serde_json::from_str::<LastRow>(row).is_ok())
}

/// Reads the head up to `runs`; `None` if that fails for any reason.
fn up_to_runs(text: &str) -> Option<(Head, Elements<'_>)> {
    struct UpToRuns<'f> {
        found: &'f mut Option<(Head, usize)>,
        source: usize,
    }
    impl<'de> Visitor<'de> for UpToRuns<'_> {
        type Value = ();
        fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
            f.write_str("an obvert document")
        }
        fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<(), A::Error> {
            let mut keys = KeysBefore { map, source: self.source, after_runs: None };
            let head = Head::deserialize(MapAccessDeserializer::new(&mut keys))?;
            *self.found = keys.after_runs.map(|at| (head, at));
            Err(A::Error::custom("the head has been read"))
        }
    }
    let mut found = None;
    let visitor = UpToRuns { found: &mut found, source: text.as_ptr().addr() };
    // The result is in `found`: the parser can stop in the middle of an object only by an error.
    let _ = Deserializer::from_str(text).deserialize_map(visitor);
    let (head, after_key) = found?;
    let bytes = text.as_bytes();
    let colon = scan::skip_space(bytes, after_key);
    let list = scan::skip_space(bytes, colon + 1);
    let is_list = bytes.get(colon) == Some(&b':') && bytes.get(list) == Some(&b'[');
    is_list
        .then(|| (head, Elements { text, at: list + 1, begin: list, count: 0, rest: Rest::Unread }))
}

/// Passes on every key before `runs` and ends the object there.
struct KeysBefore<A> {
    map: A,
    /// The address of the source, to compute the position of the parser.
    source: usize,
    after_runs: Option<usize>,
}

impl<'de, A: MapAccess<'de>> MapAccess<'de> for KeysBefore<A> {
    type Error = A::Error;
    fn next_key_seed<K: DeserializeSeed<'de>>(
        &mut self,
        seed: K,
    ) -> Result<Option<K::Value>, A::Error> {
        // A key that cannot be borrowed has an escape. Keys of the format are never written with
        // one.
        match self.map.next_key::<&'de str>()? {
            None => Ok(None),
            Some(key) if key == "runs" => {
                self.after_runs = Some(key.as_ptr().addr() - self.source + key.len() + 1);
                Ok(None)
            }
            Some(key) => seed.deserialize(BorrowedStrDeserializer::new(key)).map(Some),
        }
    }
    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, A::Error> {
        self.map.next_value_seed(seed)
    }
}

/// The head, and the position after the opening bracket of the runs, or the end of a source without
/// runs. `None` if the source is not JSON, or its head is not sound.
#[cfg(feature = "diagnose")]
pub(super) fn head_and_runs(text: &str) -> Option<(Head, usize)> {
    let (head, runs) = any_order(text).ok()?;
    let at = if runs.rest == Rest::NoRuns { text.len() } else { runs.at };
    Some((head, at))
}

/// Parses the whole source and reads the head, in any order of keys.
fn any_order(text: &str) -> Result<(Head, Elements<'_>), Error> {
    struct Apart;
    impl<'de> Visitor<'de> for Apart {
        type Value = (Head, Option<&'de RawValue>);
        fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
            f.write_str("an obvert document")
        }
        fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Self::Value, A::Error> {
            let mut keys = SetAside { map, key: "runs", value: None::<&'de RawValue> };
            let head = Head::deserialize(MapAccessDeserializer::new(&mut keys))?;
            Ok((head, keys.value))
        }
    }
    let mut reader = Deserializer::from_str(text);
    let (head, runs) = reader.deserialize_map(Apart)?;
    reader.end()?;
    let mut elements = Elements { text, at: 0, begin: 0, count: 0, rest: Rest::NoRuns };
    if let Some(runs) = runs {
        let start = runs.get().as_ptr().addr() - text.as_ptr().addr();
        if !runs.get().starts_with('[') {
            // For the parser's own message.
            Vec::<IgnoredAny>::deserialize(runs)?;
        }
        elements = Elements { text, at: start + 1, begin: start, count: 0, rest: Rest::Read };
    }
    Ok((head, elements))
}
