//! Reads parts of a file, and stops where one is missing.

use std::io::{self, Read, Seek, SeekFrom};

use super::facts::MediaFacts;

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

/// How many blocks are held. An index has several tables, which are read side by side.
const BLOCKS: usize = 4;

/// Some bytes of a file.
#[derive(Default)]
struct Block {
    bytes: Vec<u8>,
    start: u64,
    /// When it was last used: the greatest number is the latest.
    used: u64,
}

impl Block {
    fn holds(&self, place: u64, count: usize) -> bool {
        place >= self.start && place + count as u64 <= self.start + self.bytes.len() as u64
    }
}

/// A file with blocks of its bytes, and what its walk has shown.
pub(super) struct Source<'r> {
    reader: &'r mut dyn ReadSeek,
    length: u64,
    blocks: [Block; BLOCKS],
    latest: usize,
    clock: u64,
    pub(super) facts: MediaFacts,
}

impl<'r> Source<'r> {
    pub(super) fn new(reader: &'r mut dyn ReadSeek) -> io::Result<Self> {
        let length = reader.seek(SeekFrom::End(0))?;
        let (blocks, facts) = (Default::default(), MediaFacts::new());
        Ok(Self { reader, length, blocks, latest: 0, clock: 0, facts })
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
        if !self.blocks[self.latest].holds(place, count) {
            match self.blocks.iter().position(|block| block.holds(place, count)) {
                Some(held) => self.latest = held,
                None => self.load(place, count, what)?,
            }
            self.clock += 1;
            self.blocks[self.latest].used = self.clock;
        }
        let block = &self.blocks[self.latest];
        let from = usize::try_from(place - block.start).unwrap_or(usize::MAX);
        block.bytes.get(from..from + count).ok_or_else(|| Stop::cut(missing(what)))
    }

    /// Reads a block in place of the one that has not been used for longest.
    fn load(&mut self, place: u64, count: usize, what: &str) -> Result<(), Stop> {
        let oldest = (0..BLOCKS).min_by_key(|index| self.blocks[*index].used).unwrap_or(0);
        let left = usize::try_from(self.length - place).unwrap_or(usize::MAX);
        let block = &mut self.blocks[oldest];
        block.bytes.resize(BLOCK.max(count).min(left), 0);
        block.start = place;
        self.latest = oldest;
        self.reader.seek(SeekFrom::Start(place))?;
        // A failed read leaves no block behind.
        if let Err(error) = self.reader.read_exact(&mut block.bytes) {
            block.bytes.clear();
            return Err(if error.kind() == io::ErrorKind::UnexpectedEof {
                Stop::cut(format!("the file became shorter while {what} was read"))
            } else {
                error.into()
            });
        }
        Ok(())
    }

    /// The bytes from a place to the end of the block that is read there. Empty at the end of the
    /// file.
    pub(super) fn rest_of_block(&mut self, place: u64) -> Result<&[u8], Stop> {
        let left = self.length.saturating_sub(place);
        if left == 0 {
            return Ok(&[]);
        }
        if !self.blocks[self.latest].holds(place, 1) {
            let count = usize::try_from(left).unwrap_or(BLOCK).min(BLOCK);
            self.at(place, count, "its content")?;
        }
        let block = &self.blocks[self.latest];
        let from = usize::try_from(place - block.start).unwrap_or(usize::MAX);
        Ok(block.bytes.get(from..).unwrap_or_default())
    }

    /// The first place from `place` on whose byte is not zero, or the end of the file.
    pub(super) fn after_zeros(&mut self, mut place: u64) -> Result<u64, Stop> {
        loop {
            let rest = self.rest_of_block(place)?;
            match rest.iter().position(|byte| *byte != 0) {
                Some(found) => return Ok(place + found as u64),
                None if rest.is_empty() => return Ok(place),
                None => place += rest.len() as u64,
            }
        }
    }

    /// Why a walk stops at a place where the next part should begin. A loss of power leaves zeros
    /// at the end of what was being written.
    pub(super) fn torn(&mut self, place: u64, how: &str) -> Stop {
        match self.after_zeros(place) {
            Ok(after) if after == self.length => Stop::cut(format!(
                "only zeros follow after {place} of its {after} bytes, as a loss of power leaves \
                 them"
            )),
            Ok(_) => Stop::damaged(how),
            Err(stop) => stop,
        }
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use std::io::Cursor;

    /// More places than blocks are held, read in turns: what is read stays what it was.
    #[test]
    fn blocks_are_exchanged() {
        let file: Vec<u8> = (0..1_000_000u32).map(|at| u8::try_from(at % 251).unwrap()).collect();
        let mut reader = Cursor::new(&file);
        let mut source = super::Source::new(&mut reader).unwrap();
        for turn in 0..50u64 {
            for at in [3, 150_000, 299_990, 450_000, 600_001, 999_900] {
                let place = at + turn;
                let found = source.at(place, 40, "it").unwrap().to_vec();
                let place = usize::try_from(place).unwrap();
                assert_eq!(found, file[place..place + 40]);
            }
        }
    }
}
