//! RIFF files: AVI, WAVE and WebP (RFC 9649, RFC 2361; from memory).

use super::source::{Source, Stop, shown};

/// What the chunks of a file showed.
#[derive(Default)]
struct Found {
    /// The names of chunks that were seen, at any level.
    names: Vec<[u8; 4]>,
    /// Whether the header of an AVI file says that there is an index.
    indexed: bool,
}

impl Found {
    fn has(&self, name: &[u8; 4]) -> bool {
        self.names.contains(name)
    }
}

/// Chunks by their lengths, and what each kind of file needs.
pub(super) fn riff(source: &mut Source<'_>) -> Result<(), Stop> {
    let kind = source.name(8, "its header")?;
    let mut found = Found::default();
    let mut place = 0;
    // Long AVI files have several parts.
    while place + 12 <= source.length() && source.name(place, "its header")? == *b"RIFF" {
        let size = source.little(place + 4, 4, "its header")?;
        if size == u64::from(u32::MAX) || size < 4 {
            return Err(Stop::cut("its size was never written, so the recording was cut off"));
        }
        let end = place + 8 + size;
        source.inside(place, 8 + size, "its content")?;
        chunks(source, place + 12, end, 0, &mut found)?;
        place = end + size % 2;
    }
    let needed = |names: &[&[u8; 4]]| names.iter().all(|name| found.has(name));
    match &kind {
        b"WAVE" if needed(&[b"fmt ", b"data"]) => Ok(()),
        b"WAVE" => Err(Stop::damaged("it has no sound")),
        b"WEBP" if [b"VP8 ", b"VP8L", b"ANMF"].iter().any(|name| found.has(name)) => Ok(()),
        b"WEBP" => Err(Stop::damaged("it has no picture")),
        b"AVI " if !needed(&[b"hdrl", b"movi"]) => Err(Stop::damaged("it has no pictures")),
        b"AVI " if found.has(b"idx1") || found.has(b"indx") => Ok(()),
        b"AVI " if found.indexed => {
            Err(Stop::cut("its index is missing, so the recording was cut off"))
        }
        b"AVI " => Err(Stop::unknown("it has no index that would show its end")),
        _ => Err(Stop::unknown("its format is not one whose structure is examined")),
    }
}

/// The chunks between two places. They must fill the space.
fn chunks(
    source: &mut Source<'_>,
    mut place: u64,
    end: u64,
    depth: usize,
    found: &mut Found,
) -> Result<(), Stop> {
    while place + 8 <= end {
        let name = source.name(place, "the header of a chunk")?;
        let size = source.little(place + 4, 4, "the header of a chunk")?;
        let what = format!("its chunk {}", shown(name));
        source.inside(place + 8, size, &what)?;
        if place + 8 + size > end {
            return Err(Stop::damaged(format!("{what} is longer than the part that holds it")));
        }
        let mut label = name;
        if &name == b"LIST" && size >= 4 {
            label = source.name(place + 8, "the header of a list")?;
            // The pictures themselves are many and need not be walked through.
            if depth < 3 && &label != b"movi" {
                chunks(source, place + 12, place + 8 + size, depth + 1, found)?;
            }
        }
        if &name == b"avih" && size >= 16 {
            found.indexed = source.little(place + 8 + 12, 4, "its header")? & 0x10 != 0;
        }
        if !found.has(&label) && found.names.len() < 64 {
            found.names.push(label);
        }
        place += 8 + size + size % 2;
    }
    Ok(())
}
