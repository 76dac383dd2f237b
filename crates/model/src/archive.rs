//! Archives: many documents in one file, a document a line (JSON lines), so that any number of
//! surveys can be read, checked and written one at a time.
//!
//! ```
//! use obvert_model::{archive, read};
//! let line = r#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},"coding":{"list":"obvert-terms","version":"1"}}"#;
//! let file = format!("{line}\n\n{line}\r\n");
//! for line in archive::lines(file.as_bytes()) {
//!     let line = line?;
//!     let document = read::document(&line.text)?;
//!     let mut again = Vec::new();
//!     archive::write(&document, &mut again)?;
//!     assert_eq!(archive::lines(again.as_slice()).count(), 1);
//! }
//! assert_eq!(archive::lines(file.as_bytes()).map(|line| line.unwrap().number).collect::<Vec<_>>(), [1, 3]);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::io::{self, BufRead, Write};

use serde::Serialize;
use serde_json::ser::Formatter;

use crate::tables::Document;
use crate::write::{WriteError, check_ids, write_number};

/// A line of an archive that is not empty.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// Its number, from 1; empty lines and lines of white space count.
    pub number: usize,
    /// Its text, without the line ending. It is not necessarily a document.
    pub text: Vec<u8>,
}

/// The lines of an archive, read one at a time; see [`lines`].
#[derive(Debug)]
pub struct Lines<R> {
    source: R,
    number: usize,
}

/// The lines of an archive that are not empty. A byte-order mark at the beginning and a carriage
/// return at the end of a line are removed. Only one line is kept in memory.
///
/// An item is an error if the source fails. Whether a line is a document is checked by
/// [`crate::read::document`].
pub fn lines<R: BufRead>(source: R) -> Lines<R> {
    Lines { source, number: 0 }
}

impl<R: BufRead> Iterator for Lines<R> {
    type Item = io::Result<Line>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            let mut text = Vec::new();
            match self.source.read_until(b'\n', &mut text) {
                Ok(0) => return None,
                Ok(_) => self.number += 1,
                Err(error) => return Some(Err(error)),
            }
            while matches!(text.last(), Some(b'\n' | b'\r')) {
                text.pop();
            }
            if self.number == 1 && text.starts_with(b"\xEF\xBB\xBF") {
                text.drain(..3);
            }
            if !text.iter().all(u8::is_ascii_whitespace) {
                return Some(Ok(Line { number: self.number, text }));
            }
        }
    }
}

/// Writes a document as one line, with a final line feed: keys in the order of the specification,
/// numbers in their shortest form, no white space.
///
/// # Errors
/// As [`crate::write::document`].
pub fn write(document: &Document, mut sink: impl Write) -> Result<(), WriteError> {
    check_ids(document)?;
    document
        .serialize(&mut serde_json::Serializer::with_formatter(&mut sink, OneLine))
        .map_err(io::Error::from)?;
    Ok(sink.write_all(b"\n")?)
}

struct OneLine;

impl Formatter for OneLine {
    fn write_f64<W: ?Sized + Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        write_number(writer, value)
    }
}
