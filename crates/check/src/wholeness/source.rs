//! Reads parts of a file, and stops where one is missing.

use std::io::{self, Read, Seek, SeekFrom};

/// Why a walk ended before the end of the file.
#[derive(Debug)]
pub(super) enum Stop {
    /// Something is wrong.
    Damaged(String),
    /// The end is missing.
    Cut(String),
    /// The structure does not show whether the file is whole.
    Unknown(String),
    /// The file cannot be read.
    Io(io::Error),
}

impl Stop {
    pub(super) fn damaged(how: impl Into<String>) -> Self {
        Self::Damaged(how.into())
    }

    pub(super) fn cut(how: impl Into<String>) -> Self {
        Self::Cut(how.into())
    }

    pub(super) fn unknown(why: impl Into<String>) -> Self {
        Self::Unknown(why.into())
    }
}

impl From<io::Error> for Stop {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}

/// What can be read at any place.
pub(super) trait ReadSeek: Read + Seek {}

impl<R: Read + Seek> ReadSeek for R {}

/// How many bytes are read at a time.
const BLOCK: usize = 1 << 16;

/// A file with a block of its bytes.
pub(super) struct Source<'r> {
    reader: &'r mut dyn ReadSeek,
    length: u64,
    block: Vec<u8>,
    start: u64,
}

impl<'r> Source<'r> {
    pub(super) fn new(reader: &'r mut dyn ReadSeek) -> io::Result<Self> {
        let length = reader.seek(SeekFrom::End(0))?;
        Ok(Self { reader, length, block: Vec::new(), start: 0 })
    }

    pub(super) fn length(&self) -> u64 {
        self.length
    }

    /// The first bytes, at most `most`.
    pub(super) fn head(&mut self, most: usize) -> Result<Vec<u8>, Stop> {
        let most = most.min(usize::try_from(self.length).unwrap_or(usize::MAX));
        Ok(self.at(0, most, "its header")?.to_vec())
    }

    /// Some bytes at a place, at most a block. `what` names them if they are missing.
    pub(super) fn at(&mut self, place: u64, count: usize, what: &str) -> Result<&[u8], Stop> {
        self.inside(place, count as u64, what)?;
        let end = place + count as u64;
        let held = place >= self.start && end <= self.start + self.block.len() as u64;
        if !held {
            let left = usize::try_from(self.length - place).unwrap_or(usize::MAX);
            self.block.resize(BLOCK.max(count).min(left), 0);
            self.start = place;
            self.reader.seek(SeekFrom::Start(place))?;
            // A failed read leaves no block behind.
            if let Err(error) = self.reader.read_exact(&mut self.block) {
                self.block.clear();
                return Err(if error.kind() == io::ErrorKind::UnexpectedEof {
                    Stop::cut(format!("the file became shorter while {what} was read"))
                } else {
                    error.into()
                });
            }
        }
        let from = usize::try_from(place - self.start).unwrap_or(usize::MAX);
        self.block.get(from..from + count).ok_or_else(|| Stop::cut(missing(what)))
    }

    /// The bytes from a place to the end of the block that is read there. Empty at the end of the
    /// file.
    pub(super) fn rest_of_block(&mut self, place: u64) -> Result<&[u8], Stop> {
        let left = self.length.saturating_sub(place);
        if left == 0 {
            return Ok(&[]);
        }
        let held = place >= self.start && place < self.start + self.block.len() as u64;
        if !held {
            let count = usize::try_from(left).unwrap_or(BLOCK).min(BLOCK);
            self.at(place, count, "its content")?;
        }
        let from = usize::try_from(place - self.start).unwrap_or(usize::MAX);
        Ok(self.block.get(from..).unwrap_or_default())
    }

    /// Requires that a part lies inside the file.
    pub(super) fn inside(&self, place: u64, count: u64, what: &str) -> Result<(), Stop> {
        match place.checked_add(count) {
            Some(end) if end <= self.length => Ok(()),
            _ => Err(Stop::cut(missing(what))),
        }
    }

    pub(super) fn byte(&mut self, place: u64, what: &str) -> Result<u8, Stop> {
        Ok(self.at(place, 1, what)?[0])
    }

    /// A number of up to eight bytes, the first byte the greatest.
    pub(super) fn big(&mut self, place: u64, count: usize, what: &str) -> Result<u64, Stop> {
        let bytes = self.at(place, count, what)?;
        Ok(bytes.iter().fold(0, |number, byte| number << 8 | u64::from(*byte)))
    }

    /// A number of up to eight bytes, the first byte the least.
    pub(super) fn little(&mut self, place: u64, count: usize, what: &str) -> Result<u64, Stop> {
        let bytes = self.at(place, count, what)?;
        Ok(bytes.iter().rev().fold(0, |number, byte| number << 8 | u64::from(*byte)))
    }

    /// Four letters, for names of parts.
    pub(super) fn name(&mut self, place: u64, what: &str) -> Result<[u8; 4], Stop> {
        let bytes = self.at(place, 4, what)?;
        Ok([bytes[0], bytes[1], bytes[2], bytes[3]])
    }
}

fn missing(what: &str) -> String {
    format!("the file ends within {what}")
}

/// A name of four letters, for messages.
pub(super) fn shown(name: [u8; 4]) -> String {
    name.iter().map(|byte| char::from(*byte)).flat_map(char::escape_default).collect()
}
