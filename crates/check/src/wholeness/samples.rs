//! The samples of a track in an MP4 file: every chunk that the index names is inside the file.

use super::boxes::{Box, each};
use super::source::{Source, Stop};

/// What the tracks of a film showed.
#[derive(Default)]
pub(super) struct Found {
    pub(super) samples: u64,
    pub(super) fragmented: bool,
}

/// The tables of a track.
#[derive(Default)]
struct Tables {
    chunks: Option<(Box, usize)>,
    runs: Option<Box>,
    sizes: Option<Box>,
    compact: bool,
    elsewhere: bool,
}

pub(super) fn track(source: &mut Source<'_>, track: Box, found: &mut Found) -> Result<(), Stop> {
    let mut tables = Tables::default();
    descend(source, track, 0, &mut tables)?;
    let (Some((chunks, width)), Some(runs), Some(sizes)) =
        (tables.chunks, tables.runs, tables.sizes)
    else {
        return Ok(());
    };
    if tables.elsewhere {
        return Ok(());
    }
    let mut samples = Samples::new(source, sizes, tables.compact)?;
    let mut runs = Runs::new(source, runs)?;
    let count = source.big(chunks.content + 4, 4, TABLE)?;
    within(chunks, 8, count, width as u64)?;
    for chunk in 0..count {
        let place = source.big(chunks.content + 8 + chunk * width as u64, width, TABLE)?;
        let samples_in_chunk = runs.samples_of(source, chunk + 1)?;
        let size = samples.size_of_next(source, samples_in_chunk)?;
        source.inside(place, size, "the pictures or the sound that its index names")?;
    }
    found.samples += samples.next;
    Ok(())
}

const TABLE: &str = "its index";

/// Finds the tables in the boxes of a track.
fn descend(
    source: &mut Source<'_>,
    holder: Box,
    depth: usize,
    tables: &mut Tables,
) -> Result<(), Stop> {
    each(source, holder, |source, part| {
        match &part.name {
            b"mdia" | b"minf" | b"stbl" | b"dinf" if depth < 4 => {
                descend(source, part, depth + 1, tables)?;
            }
            b"stco" => tables.chunks = Some((part, 4)),
            b"co64" => tables.chunks = Some((part, 8)),
            b"stsc" => tables.runs = Some(part),
            b"stsz" => tables.sizes = Some(part),
            b"stz2" => (tables.sizes, tables.compact) = (Some(part), true),
            // A reference with the flag 1 means this file.
            b"dref" if part.end >= part.content + 20 => {
                tables.elsewhere = source.big(part.content + 16, 4, TABLE)? & 1 == 0;
            }
            _ => {}
        }
        Ok(())
    })
}

/// Requires that a table has room for its entries.
fn within(table: Box, header: u64, count: u64, width: u64) -> Result<(), Stop> {
    let size = count.checked_mul(width).and_then(|size| size.checked_add(header));
    match size.and_then(|size| table.content.checked_add(size)) {
        Some(end) if end <= table.end => Ok(()),
        _ => Err(Stop::damaged("its index is shorter than it states")),
    }
}

/// The sizes of samples, in order.
struct Samples {
    table: Box,
    same: u64,
    count: u64,
    bits: u64,
    next: u64,
}

impl Samples {
    fn new(source: &mut Source<'_>, table: Box, compact: bool) -> Result<Self, Stop> {
        let field = source.big(table.content + 4, 4, TABLE)?;
        let count = source.big(table.content + 8, 4, TABLE)?;
        let (same, bits) = if compact { (0, field & 0xFF) } else { (field, 32) };
        if same == 0 {
            if ![4, 8, 16, 32].contains(&bits) {
                return Err(Stop::damaged("its index has an impossible entry"));
            }
            within(table, 12, (count * bits).div_ceil(8), 1)?;
        }
        Ok(Self { table, same, count, bits, next: 0 })
    }

    /// The size of the next samples together.
    fn size_of_next(&mut self, source: &mut Source<'_>, samples: u64) -> Result<u64, Stop> {
        let samples = samples.min(self.count - self.next);
        let first = self.next;
        self.next += samples;
        if self.same > 0 {
            return Ok(self.same.saturating_mul(samples));
        }
        let mut size = 0u64;
        for sample in first..first + samples {
            let place = self.table.content + 12 + sample * self.bits / 8;
            let bytes = usize::try_from(self.bits.div_ceil(8)).unwrap_or(4);
            let entry = source.big(place, bytes, TABLE)?;
            size += match (self.bits, sample % 2) {
                (4, 0) => entry >> 4,
                (4, _) => entry & 15,
                _ => entry,
            };
        }
        Ok(size)
    }
}

/// How many samples the chunks have: runs of chunks with as many each.
struct Runs {
    table: Box,
    count: u64,
    next: u64,
    samples: u64,
    /// The first chunk of the next run.
    first: u64,
}

impl Runs {
    fn new(source: &mut Source<'_>, table: Box) -> Result<Self, Stop> {
        let count = source.big(table.content + 4, 4, TABLE)?;
        within(table, 8, count, 12)?;
        let mut runs = Self { table, count, next: 0, samples: 0, first: 0 };
        runs.first = runs.first_chunk(source)?;
        Ok(runs)
    }

    fn first_chunk(&self, source: &mut Source<'_>) -> Result<u64, Stop> {
        if self.next >= self.count {
            return Ok(u64::MAX);
        }
        source.big(self.table.content + 8 + self.next * 12, 4, TABLE)
    }

    /// How many samples a chunk has. Chunks are asked for in order.
    fn samples_of(&mut self, source: &mut Source<'_>, chunk: u64) -> Result<u64, Stop> {
        while chunk >= self.first {
            self.samples = source.big(self.table.content + 12 + self.next * 12, 4, TABLE)?;
            self.next += 1;
            self.first = self.first_chunk(source)?;
        }
        Ok(self.samples)
    }
}
