//! TIFF (TIFF 6.0, sections 2 and 15; from memory): every directory, value, strip and tile lies
//! inside the file.

use super::exif;
use super::source::{Source, Stop};

/// The most directories of one file. A film as TIFF has one for each picture.
const DIRECTORIES: usize = 65_536;

struct Tiff<'s, 'r> {
    source: &'s mut Source<'r>,
    big: bool,
    /// Directories that are still to be walked through.
    left: Vec<u64>,
    pictures: usize,
    /// How many bytes of directories and lists may still be walked through. They do not overlap in
    /// a right file, so that they have no more than the file.
    budget: u64,
    /// Where the last part ends.
    reach: u64,
    /// How many pixels the largest picture has.
    largest: u64,
}

/// A value of a directory: where it is, how many numbers it has, and how long each is.
#[derive(Clone, Copy)]
struct Values {
    place: u64,
    count: u64,
    width: usize,
}

pub(super) fn tiff(source: &mut Source<'_>) -> Result<(), Stop> {
    let big = source.byte(0, "its header")? == b'M';
    exif::note_tiff(source);
    let budget = source.length().saturating_mul(4);
    let mut tiff =
        Tiff { source, big, left: Vec::new(), pictures: 0, budget, reach: 0, largest: 0 };
    let first = tiff.number(4, 4)?;
    tiff.left.push(first);
    let mut walked = 0;
    while let Some(directory) = tiff.left.pop() {
        walked += 1;
        if walked > DIRECTORIES {
            return Err(Stop::damaged("its directories lead back to each other"));
        }
        tiff.directory(directory)?;
    }
    if tiff.pictures == 0 {
        return Err(Stop::damaged("it has no picture data"));
    }
    tiff.source.facts.trailing = tiff.source.length() - tiff.reach;
    Ok(())
}

impl Tiff<'_, '_> {
    fn number(&mut self, place: u64, count: usize) -> Result<u64, Stop> {
        let what = "its directory";
        if self.big {
            self.source.big(place, count, what)
        } else {
            self.source.little(place, count, what)
        }
    }

    fn directory(&mut self, place: u64) -> Result<(), Stop> {
        let entries = self.number(place, 2)?;
        self.inside(place + 2, entries * 12 + 4, "its directory")?;
        self.spend(entries * 12 + 6)?;
        let (mut offsets, mut lengths) = (None, None);
        let (mut width, mut height) = (0, 0);
        let (mut preview, mut preview_length) = (None, None);
        for entry in 0..entries {
            let at = place + 2 + entry * 12;
            let tag = self.number(at, 2)?;
            let values = self.values(at)?;
            match tag {
                256 => width = self.value(values, 0)?,
                257 => height = self.value(values, 0)?,
                // Strips and tiles, and a picture as JPEG.
                273 | 324 => offsets = values,
                279 | 325 => lengths = values,
                513 => preview = values,
                514 => preview_length = values,
                // Directories of this one.
                330 | 34665 | 34853 | 40965 => {
                    for index in 0..values.map_or(0, |values| values.count.min(1024)) {
                        let inner = self.value(values, index)?;
                        self.later(inner)?;
                    }
                }
                _ => {}
            }
        }
        let next = self.number(place + 2 + entries * 12, 4)?;
        if next != 0 {
            self.later(next)?;
        }
        // Previews are smaller.
        if width.saturating_mul(height) > self.largest {
            self.largest = width.saturating_mul(height);
            self.source.facts.note_pixels(width, height);
        }
        self.parts(offsets, lengths)?;
        self.parts(preview, preview_length)
    }

    fn inside(&mut self, place: u64, count: u64, what: &str) -> Result<(), Stop> {
        self.source.inside(place, count, what)?;
        self.reach = self.reach.max(place + count);
        Ok(())
    }

    fn later(&mut self, directory: u64) -> Result<(), Stop> {
        self.left.push(directory);
        if self.left.len() > DIRECTORIES {
            return Err(Stop::damaged("it has more directories than a file can have"));
        }
        Ok(())
    }

    fn spend(&mut self, bytes: u64) -> Result<(), Stop> {
        self.budget = self
            .budget
            .checked_sub(bytes)
            .ok_or_else(|| Stop::damaged("its directories lead back to each other"))?;
        Ok(())
    }

    /// The values of an entry, which must lie inside the file; `None` for an unknown type.
    fn values(&mut self, entry: u64) -> Result<Option<Values>, Stop> {
        let width = match self.number(entry + 2, 2)? {
            1 | 2 | 6 | 7 => 1,
            3 | 8 => 2,
            4 | 9 | 11 | 13 => 4,
            5 | 10 | 12 => 8,
            _ => return Ok(None),
        };
        let count = self.number(entry + 4, 4)?;
        let size = count * width as u64;
        let place = if size <= 4 { entry + 8 } else { self.number(entry + 8, 4)? };
        self.inside(place, size, "a value of its directory")?;
        Ok(Some(Values { place, count, width }))
    }

    fn value(&mut self, values: Option<Values>, index: u64) -> Result<u64, Stop> {
        let Some(Values { place, width, .. }) = values else { return Ok(0) };
        self.number(place + index * width as u64, width.min(8))
    }

    /// Strips, tiles or a preview, which must lie inside the file.
    fn parts(&mut self, offsets: Option<Values>, lengths: Option<Values>) -> Result<(), Stop> {
        let Some(Values { count, .. }) = offsets else { return Ok(()) };
        let stated = lengths.map_or(0, |lengths| lengths.count);
        if stated < count {
            return Err(Stop::unknown("it does not state the lengths of its picture data"));
        }
        self.spend(count * 2)?;
        for index in 0..count {
            let (place, length) = (self.value(offsets, index)?, self.value(lengths, index)?);
            self.inside(place, length, "its picture data")?;
        }
        self.pictures += 1;
        Ok(())
    }
}
