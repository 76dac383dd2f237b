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
//! Keys are in the order of the specification, numbers in their shortest form, absent values left out. Each row of a
//! table has a line of its own, so that tools that compare lines show which rows differ. A document is always valid but
//! for one thing, which shows over a whole table: a [`WriteError::Structure`] means that an id occurs twice.

use std::cell::RefCell;
use std::io::{self, Write};

use serde::Serialize;
use serde::ser::Serializer;
use serde_json::ser::Formatter;
use sha2::{Digest as _, Sha256};

use crate::read::{IdWatch, Problem, twice as duplicates};
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
    /// Readers would refuse the document: an id occurs twice in its table. Each problem has the pointer to the later row.
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

/// Writes a document in the layout for files, with a final newline. Nothing is written of a document that readers would
/// refuse.
///
/// # Errors
/// If an id occurs twice in its table, or the sink fails.
pub fn document(document: &Document, sink: impl Write) -> Result<(), WriteError> {
    check_ids(document)?;
    stream(&document.head, document.runs.iter(), sink)
}

/// Writes a document whose runs come one at a time. The bytes are those of [`fn@document`].
///
/// # Errors
/// As [`fn@document`]. An id that occurs twice is found when its run comes, so that what was written before it has to be
/// discarded.
pub fn stream<R: std::borrow::Borrow<Run>>(
    head: &Head,
    runs: impl Iterator<Item = R>,
    mut sink: impl Write,
) -> Result<(), WriteError> {
    struct Rows<'w, I> {
        runs: RefCell<I>,
        ids: &'w RefCell<IdWatch>,
    }
    impl<R: std::borrow::Borrow<Run>, I: Iterator<Item = R>> Serialize for Rows<'_, I> {
        fn serialize<S: Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
            use serde::ser::{Error, SerializeSeq};
            let mut seq = sink.serialize_seq(None)?;
            for run in &mut *self.runs.borrow_mut() {
                let mut ids = self.ids.borrow_mut();
                ids.run(run.borrow());
                if ids.seen_twice() {
                    return Err(S::Error::custom("duplicate id"));
                }
                seq.serialize_element(run.borrow())?;
            }
            seq.end()
        }
    }
    #[derive(Serialize)]
    struct Streamed<'h, T> {
        #[serde(flatten)]
        head: &'h Head,
        #[serde(skip_serializing_if = "Option::is_none")]
        runs: Option<T>,
    }
    let ids = RefCell::new(IdWatch::default());
    ids.borrow_mut().head(head);
    if !ids.borrow().seen_twice() {
        let mut runs = runs.peekable();
        let runs = runs.peek().is_some().then_some(Rows { runs: RefCell::new(runs), ids: &ids });
        let mut writer = serde_json::Serializer::with_formatter(&mut sink, Lines::default());
        let written = Streamed { head, runs }.serialize(&mut writer);
        if !ids.borrow().seen_twice() {
            written.map_err(io::Error::from)?;
            return Ok(sink.write_all(b"\n")?);
        }
    }
    Err(WriteError::Structure(ids.into_inner().into_problems()))
}

/// The document as a string in the layout for files.
///
/// # Errors
/// If an id occurs twice in its table.
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

/// Refuses a document that has an id twice in a table.
pub(crate) fn check_ids(document: &Document) -> Result<(), WriteError> {
    match duplicates(document) {
        problems if problems.is_empty() => Ok(()),
        problems => Err(WriteError::Structure(problems)),
    }
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

/// Anything that is written as a JSON object, in the layout for files: a line for each key and for each row of a list.
pub(crate) fn in_lines<T: Serialize>(value: &T) -> Result<String, WriteError> {
    let mut bytes = Vec::new();
    let mut writer = serde_json::Serializer::with_formatter(&mut bytes, Lines::default());
    value.serialize(&mut writer).map_err(io::Error::from)?;
    bytes.push(b'\n');
    Ok(String::from_utf8(bytes).map_err(io::Error::other)?)
}

/// A number in its shortest form. In one range serde_json writes it differently from ECMAScript and so from RFC 8785: 1e-6
/// for 0.000001.
pub(crate) fn write_number<W: ?Sized + Write>(writer: &mut W, value: f64) -> io::Result<()> {
    if (1e-6..1e-5).contains(&value.abs()) {
        write!(writer, "{value}")
    } else {
        serde_json::ser::CompactFormatter.write_f64(writer, value)
    }
}

/// A line for each key of the document, each row of a table and each observation; everything below on its row's line.
#[derive(Default)]
struct Lines {
    /// For every open array or object, whether its members have lines of their own.
    open: Vec<bool>,
    in_key: bool,
    /// The members of the array that begins next have lines of their own.
    rows_follow: bool,
}

impl Lines {
    fn indent<W: ?Sized + Write>(&self, writer: &mut W) -> io::Result<()> {
        writer.write_all(b"\n")?;
        for _ in 0..self.open.iter().filter(|own| **own).count() {
            writer.write_all(b"  ")?;
        }
        Ok(())
    }

    fn begin<W: ?Sized + Write>(&mut self, writer: &mut W, bracket: &[u8], own_lines: bool) -> io::Result<()> {
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
        if self.open.pop() == Some(true) {
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
    fn begin_array_value<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
        self.member(writer, first)
    }
    fn end_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.end(writer, b"]")
    }
    fn begin_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        let own_lines = self.open.is_empty();
        self.begin(writer, b"{", own_lines)
    }
    fn begin_object_key<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
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
    fn write_string_fragment<W: ?Sized + Write>(&mut self, writer: &mut W, fragment: &str) -> io::Result<()> {
        if self.in_key {
            // The one list below a row that is a table itself.
            self.rows_follow = self.open.len() == 3 && fragment == "observations";
        }
        writer.write_all(fragment.as_bytes())
    }
}
