//! Writing a document: equal content gives equal bytes.
//!
//! ```
//! use obvert_model::{read, write};
//! let source = br#"{ "issued": "2026-05-06T16:20:00-05:00", "id": "d", "obvert": "0.2", "language": "en",
//!   "coding": { "version": "1", "list": "obvert-terms" }, "units": { "section": "in", "length": "ft" },
//!   "pipes": [], "structures": [ { "kind": "manhole", "id": "LM-014", "depth": 9.50 } ] }"#;
//! let document = read::document(source)?;
//! let expected = r#"{
//!   "obvert": "0.2",
//!   "id": "d",
//!   "issued": "2026-05-06T16:20:00-05:00",
//!   "language": "en",
//!   "units": {"length": "ft", "section": "in"},
//!   "coding": {"list": "obvert-terms", "version": "1"},
//!   "structures": [
//!     {"id": "LM-014", "kind": "manhole", "depth": 9.5}
//!   ]
//! }
//! "#;
//! assert_eq!(write::to_string(&document)?, expected);
//! // The digest depends on the content, and not on the order of keys or on white space.
//! assert_eq!(write::digest(&document)?, write::digest(&read::document(expected.as_bytes())?)?);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Keys are in the order of the specification, numbers in their shortest form, absent values left
//! out. Each row of a table has its own line, so that line-based diffs show which rows differ. The
//! types keep a document valid, except for duplicate ids, which are reported as
//! [`WriteError::Structure`].

use std::io::{self, Write};

use serde::Serialize;
use serde::ser::Serializer;
use serde_json::ser::Formatter;
use sha2::{Digest as _, Sha256};

use crate::read::{IdWatch, Problem, RunReader, duplicate_ids};
use crate::tables::{Document, Head, Run};
use crate::text::Digest;

impl Serialize for Document {
    fn serialize<S: Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct Flat<'d> {
            #[serde(flatten)]
            head: &'d Head,
            #[serde(skip_serializing_if = "<[Run]>::is_empty")]
            runs: &'d [Run],
        }
        Flat { head: &self.head, runs: &self.runs }.serialize(sink)
    }
}

/// Why a document could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The document has duplicate ids, so readers would refuse it. Each problem has the pointer to
    /// the later row.
    #[error("the document cannot be written: {}", .0.first().map(ToString::to_string).unwrap_or_default())]
    Structure(Vec<Problem>),
    /// The sink failed.
    #[error(transparent)]
    Io(#[from] io::Error),
}

impl From<WriteError> for io::Error {
    fn from(error: WriteError) -> Self {
        match error {
            WriteError::Io(error) => error,
            WriteError::Structure(_) => Self::new(io::ErrorKind::InvalidData, error),
        }
    }
}

/// Writes a document, with a final newline. A document that readers would refuse is not written at
/// all.
///
/// # Errors
/// If an id is a duplicate in its table, or the sink fails.
pub fn document(document: &Document, sink: impl Write) -> Result<(), WriteError> {
    check_ids(document)?;
    let mut writer = Writer::unchecked(&document.head, sink)?;
    document.runs.iter().try_for_each(|run| writer.run(run))?;
    writer.finish().map(drop)
}

/// Writes a survey that is read run by run. The bytes are those of [`fn@document`].
///
/// ```
/// use obvert_model::{read, write};
/// # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
/// # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
/// let mut text = Vec::new();
/// write::from_reader(&mut read::Reader::new(source)?, &mut text)?;
/// assert_eq!(read::document(&text)?, read::document(source)?);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// If reading fails, or writing as with [`fn@document`]. The sink then has an incomplete document.
pub fn from_reader<R: RunReader + ?Sized>(
    reader: &mut R,
    sink: impl Write,
) -> Result<(), FromReaderError<R::Error>> {
    let mut writer = match Writer::new(reader.head(), sink) {
        Err(refused @ WriteError::Structure(_)) => return Err(read_to_the_end(reader, refused)),
        begun => begun?,
    };
    while let Some(run) = reader.next_run().map_err(FromReaderError::Read)? {
        match writer.run(&run) {
            Err(refused @ WriteError::Structure(_)) => {
                return Err(read_to_the_end(reader, refused));
            }
            written => written?,
        }
        reader.recycle(run.observations);
    }
    writer.finish()?;
    Ok(())
}

/// The error of the rest of a reader, or else the given one: a reader that checks ids knows their
/// lines.
fn read_to_the_end<R: RunReader + ?Sized>(
    reader: &mut R,
    refused: WriteError,
) -> FromReaderError<R::Error> {
    loop {
        match reader.next_run() {
            Ok(Some(_)) => {}
            Ok(None) => return refused.into(),
            Err(error) => return FromReaderError::Read(error),
        }
    }
}

/// Why a survey could not be written from a reader.
#[derive(Debug, thiserror::Error)]
pub enum FromReaderError<E> {
    /// It could not be read.
    #[error(transparent)]
    Read(E),
    /// It could not be written.
    #[error("cannot write")]
    Write(#[from] WriteError),
}

/// Writes a document run by run: the head first, then each run as it is given. The bytes are those
/// of [`fn@document`].
///
/// ```
/// use obvert_model::{read, write};
/// # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
/// # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
/// let document = read::document(source)?;
/// let mut writer = write::Writer::new(&document.head, Vec::new())?;
/// for run in &document.runs {
///     writer.run(run)?;
/// }
/// assert_eq!(writer.finish()?, write::to_string(&document)?.into_bytes());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Writer<W> {
    sink: W,
    runs: usize,
    /// The ids written so far; `None` if they were checked before.
    ids: Option<IdWatch>,
}

impl<W: Write> Writer<W> {
    /// Writes the head.
    ///
    /// # Errors
    /// If an id is a duplicate in one of the head's tables, or the sink fails.
    pub fn new(head: &Head, sink: W) -> Result<Self, WriteError> {
        let mut ids = IdWatch::default();
        ids.head(head);
        Ok(Self { ids: Some(checked(ids)?), ..Self::unchecked(head, sink)? })
    }

    fn unchecked(head: &Head, mut sink: W) -> Result<Self, WriteError> {
        let mut writer = serde_json::Serializer::with_formatter(&mut sink, Lines::left_open());
        head.serialize(&mut writer).map_err(io::Error::from)?;
        Ok(Self { sink, runs: 0, ids: None })
    }

    /// Writes the next run.
    ///
    /// # Errors
    /// If the id of the run or of an observation is a duplicate, or the sink fails. The sink then
    /// has an incomplete document.
    pub fn run(&mut self, run: &Run) -> Result<(), WriteError> {
        if let Some(mut ids) = self.ids.take() {
            ids.run(run);
            self.ids = Some(checked(ids)?);
        }
        self.sink.write_all(if self.runs == 0 { b",\n  \"runs\": [\n    " } else { b",\n    " })?;
        let mut writer = serde_json::Serializer::with_formatter(&mut self.sink, Lines::of_run());
        run.serialize(&mut writer).map_err(io::Error::from)?;
        self.runs += 1;
        Ok(())
    }

    /// Writes the end of the document and returns the sink. Dropping the writer instead leaves an
    /// incomplete document.
    ///
    /// # Errors
    /// If the sink fails.
    pub fn finish(mut self) -> Result<W, WriteError> {
        self.sink.write_all(if self.runs == 0 { b"\n}\n" } else { b"\n  ]\n}\n" })?;
        self.sink.flush()?;
        Ok(self.sink)
    }
}

/// The document as a string, as in a file.
///
/// # Errors
/// If an id is a duplicate in its table.
pub fn to_string(document: &Document) -> Result<String, WriteError> {
    let mut bytes = Vec::new();
    self::document(document, &mut bytes)?;
    Ok(String::from_utf8(bytes).map_err(io::Error::other)?)
}

/// The document's canonical form (RFC 8785), which its digest is computed from.
///
/// # Errors
/// As [`to_string`].
pub fn canonical(document: &Document) -> Result<Vec<u8>, WriteError> {
    check_ids(document)?;
    canonical_of(document)
}

/// The document's digest: SHA-256 of its canonical form.
///
/// # Errors
/// As [`to_string`].
pub fn digest(document: &Document) -> Result<Digest, WriteError> {
    digest_of_bytes(&canonical(document)?)
}

/// Refuses a document with duplicate ids.
pub(crate) fn check_ids(document: &Document) -> Result<(), WriteError> {
    match duplicate_ids(document) {
        problems if problems.is_empty() => Ok(()),
        problems => Err(WriteError::Structure(problems)),
    }
}

fn checked(ids: IdWatch) -> Result<IdWatch, WriteError> {
    if ids.has_duplicates() { Err(WriteError::Structure(ids.into_problems())) } else { Ok(ids) }
}

fn canonical_of<T: Serialize>(value: &T) -> Result<Vec<u8>, WriteError> {
    Ok(serde_json_canonicalizer::to_vec(value).map_err(io::Error::other)?)
}

/// The digest of anything that is written as JSON: SHA-256 of its canonical form (RFC 8785).
pub(crate) fn digest_of<T: Serialize>(value: &T) -> Result<Digest, WriteError> {
    digest_of_bytes(&canonical_of(value)?)
}

/// The digest of a canonical form.
pub(crate) fn digest_of_bytes(canonical: &[u8]) -> Result<Digest, WriteError> {
    let hash = Sha256::digest(canonical);
    let hex: String = hash.iter().map(|byte| format!("{byte:02x}")).collect();
    Ok(Digest::new(&format!("sha-256:{hex}")).map_err(io::Error::other)?)
}

/// Any JSON object as in a file: a line for each key and for each row of a list.
pub(crate) fn in_lines<T: Serialize>(value: &T) -> Result<String, WriteError> {
    let mut bytes = Vec::new();
    let mut writer = serde_json::Serializer::with_formatter(&mut bytes, Lines::default());
    value.serialize(&mut writer).map_err(io::Error::from)?;
    bytes.push(b'\n');
    Ok(String::from_utf8(bytes).map_err(io::Error::other)?)
}

/// A number in its shortest form. In one range serde_json differs from ECMAScript, and so from RFC
/// 8785: 1e-6 for 0.000001.
pub(crate) fn write_number<W: ?Sized + Write>(writer: &mut W, value: f64) -> io::Result<()> {
    if (1e-6..1e-5).contains(&value.abs()) {
        write!(writer, "{value}")
    } else {
        serde_json::ser::CompactFormatter.write_f64(writer, value)
    }
}

/// Formats a line for each key of the document, each row of a table and each observation;
/// everything inside a row is on its line.
#[derive(Default)]
struct Lines {
    /// For every open array or object, whether its members are on separate lines.
    open: Vec<bool>,
    in_key: bool,
    /// Whether the members of the next array are on separate lines.
    rows_follow: bool,
    /// Whether the document stays open for more.
    left_open: bool,
}

impl Lines {
    /// Formats a document whose end is written later.
    fn left_open() -> Self {
        Self { left_open: true, ..Self::default() }
    }

    /// Formats a run within its document and list.
    fn of_run() -> Self {
        Self { open: vec![true, true], ..Self::default() }
    }

    fn indent<W: ?Sized + Write>(&self, writer: &mut W) -> io::Result<()> {
        writer.write_all(b"\n")?;
        for _ in 0..self.open.iter().filter(|own| **own).count() {
            writer.write_all(b"  ")?;
        }
        Ok(())
    }

    fn begin<W: ?Sized + Write>(
        &mut self,
        writer: &mut W,
        bracket: &[u8],
        own_lines: bool,
    ) -> io::Result<()> {
        self.open.push(own_lines);
        self.rows_follow = false;
        writer.write_all(bracket)
    }

    fn member<W: ?Sized + Write>(&self, writer: &mut W, first: bool) -> io::Result<()> {
        match (self.open.last(), first) {
            (Some(true), true) => self.indent(writer),
            (Some(true), false) => writer.write_all(b",").and_then(|()| self.indent(writer)),
            (_, true) => Ok(()),
            (_, false) => writer.write_all(b", "),
        }
    }

    fn end<W: ?Sized + Write>(&mut self, writer: &mut W, bracket: &[u8]) -> io::Result<()> {
        let own_lines = self.open.pop() == Some(true);
        if self.left_open && self.open.is_empty() {
            return Ok(());
        }
        if own_lines {
            self.indent(writer)?;
        }
        writer.write_all(bracket)
    }
}

impl Formatter for Lines {
    fn begin_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        let own_lines = self.open.len() == 1 || self.rows_follow;
        self.begin(writer, b"[", own_lines)
    }
    fn begin_array_value<W: ?Sized + Write>(
        &mut self,
        writer: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.member(writer, first)
    }
    fn end_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.end(writer, b"]")
    }
    fn begin_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        let own_lines = self.open.is_empty();
        self.begin(writer, b"{", own_lines)
    }
    fn begin_object_key<W: ?Sized + Write>(
        &mut self,
        writer: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.in_key = true;
        self.member(writer, first)
    }
    fn end_object_key<W: ?Sized + Write>(&mut self, _: &mut W) -> io::Result<()> {
        self.in_key = false;
        Ok(())
    }
    fn begin_object_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        writer.write_all(b": ")
    }
    fn write_f64<W: ?Sized + Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        write_number(writer, value)
    }
    fn end_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.end(writer, b"}")
    }
    fn write_string_fragment<W: ?Sized + Write>(
        &mut self,
        writer: &mut W,
        fragment: &str,
    ) -> io::Result<()> {
        if self.in_key {
            // The only list in a row that is a table.
            self.rows_follow = self.open.len() == 3 && fragment == "observations";
        }
        writer.write_all(fragment.as_bytes())
    }
}
