//! RIFF files: AVI, WAVE and WebP (RFC 9649, RFC 2361, OpenDML AVI 1.02, EBU Tech 3306 for sizes
//! beyond four gigabytes; from memory).

use super::facts::ratio;
use super::images::note_exif;
use super::source::{Source, Stop, shown};

const HEADER: &str = "its header";

/// What the chunks of a file showed.
#[derive(Default)]
struct Found {
    /// The names of chunks that were seen, at any level.
    names: Vec<[u8; 4]>,
    /// Whether the header of an AVI file says that there is an index.
    indexed: bool,
    /// The sizes that a file beyond four gigabytes states: of all of it, and of its sound.
    long: Option<(u64, u64)>,
    /// How many bytes of sound have a second.
    bytes_per_second: u64,
    /// How many bytes of sound it has.
    sound: Option<u64>,
}

impl Found {
    fn has(&self, name: &[u8; 4]) -> bool {
        self.names.contains(name)
    }
}

/// Chunks by their lengths, and what each kind of file needs.
pub(super) fn riff(source: &mut Source<'_>) -> Result<(), Stop> {
    let kind = source.name(8, HEADER)?;
    let mut found = Found::default();
    let mut place = 0;
    // Long AVI files have several parts.
    while place + 12 <= source.length() && is_part(source, place)? {
        let mut size = source.little(place + 4, 4, HEADER)?;
        if place == 0 && source.name(12, HEADER).is_ok_and(|name| &name == b"ds64") {
            let long = (source.little(20, 8, HEADER)?, source.little(28, 8, HEADER)?);
            (size, found.long) = (long.0, Some(long));
        }
        if size == u64::from(u32::MAX) {
            // What its header states holds all the same.
            let length = source.length();
            return match chunks(source, place + 12, length, 0, &mut found) {
                Err(Stop::Io(error)) => Err(error.into()),
                _ => Err(unfinished(kind, &found)),
            };
        }
        if size < 4 {
            return Err(Stop::cut("its size was never written, so the recording was cut off"));
        }
        source.inside(place, size.saturating_add(8), "its content")?;
        let end = place + 8 + size;
        chunks(source, place + 12, end, 0, &mut found)?;
        // The last byte may be one that only fills up.
        place = (end + size % 2).min(source.length());
        if end + size % 2 > source.length() && &kind != b"WAVE" {
            return Err(Stop::cut("its last byte is missing"));
        }
    }
    source.facts.trailing = source.length() - place;
    judge(source, kind, &found)
}

/// A program that writes into a pipe cannot come back to write the size, nor an index.
fn unfinished(kind: [u8; 4], found: &Found) -> Stop {
    if &kind == b"WAVE" || &kind == b"AVI " && found.has(b"avih") && !found.indexed {
        Stop::unknown(
            "its size was never written: either it was streamed, or the recording was cut off",
        )
    } else {
        Stop::cut("its size was never written, so the recording was cut off")
    }
}

fn is_part(source: &mut Source<'_>, place: u64) -> Result<bool, Stop> {
    let name = source.name(place, HEADER)?;
    Ok(&name == b"RIFF" || &name == b"RF64" && place == 0)
}

fn judge(source: &mut Source<'_>, kind: [u8; 4], found: &Found) -> Result<(), Stop> {
    let needed = |names: &[&[u8; 4]]| names.iter().all(|name| found.has(name));
    match &kind {
        b"WAVE" if needed(&[b"fmt ", b"data"]) => {
            let size = found.sound.unwrap_or_default();
            source.facts.duration = ratio(size, found.bytes_per_second);
            source.facts.sound = source.facts.duration;
            if size == 0 && source.facts.trailing > 0 {
                return Err(Stop::cut("its size was never written, so the recording was cut off"));
            }
            if size == 0 {
                return Err(Stop::damaged("it has no sound"));
            }
            Ok(())
        }
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
        let mut size = source.little(place + 4, 4, "the header of a chunk")?;
        if let (b"data", Some((_, sound)), true) = (&name, found.long, size == 0xFFFF_FFFF) {
            size = sound;
        }
        let what = format!("its chunk {}", shown(name));
        source.inside(place + 8, size, &what)?;
        if size > end - place - 8 {
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
        note(source, name, place + 8, size, found)?;
        if !found.has(&label) && found.names.len() < 64 {
            found.names.push(label);
        }
        place = next(source, place + 8 + size, size, end)?;
    }
    Ok(())
}

/// The place of the next chunk. Chunks begin at even places, but some programs forget that.
fn next(source: &mut Source<'_>, place: u64, size: u64, end: u64) -> Result<u64, Stop> {
    if size.is_multiple_of(2) || place + 9 > end {
        return Ok(place + size % 2);
    }
    let here = source.at(place, 5, "the header of a chunk")?;
    let named = |name: &[u8]| name.iter().all(|byte| (0x20..0x7F).contains(byte));
    Ok(if named(&here[..4]) && !named(&here[1..]) { place } else { place + 1 })
}

/// What a chunk states.
fn note(
    source: &mut Source<'_>,
    name: [u8; 4],
    place: u64,
    size: u64,
    found: &mut Found,
) -> Result<(), Stop> {
    match &name {
        b"avih" if size >= 40 => {
            found.indexed = source.little(place + 12, 4, HEADER)? & 0x10 != 0;
            let (width, height) =
                (source.little(place + 32, 4, HEADER)?, source.little(place + 36, 4, HEADER)?);
            source.facts.note_pixels(width, height);
        }
        b"strh" if size >= 36 => stream(source, place)?,
        b"indx" if size >= 24 => index_of_indexes(source, place, size)?,
        b"fmt " if size >= 14 => found.bytes_per_second = source.little(place + 8, 4, HEADER)?,
        b"data" if found.sound.is_none() => found.sound = Some(size),
        b"VP8X" | b"VP8 " | b"VP8L" => picture(source, name, place, size)?,
        b"EXIF" => note_exif(source, place, size)?,
        _ => {}
    }
    Ok(())
}

/// How long a stream of an AVI file lasts.
fn stream(source: &mut Source<'_>, place: u64) -> Result<(), Stop> {
    let kind = source.name(place, HEADER)?;
    let (scale, rate) =
        (source.little(place + 20, 4, HEADER)?, source.little(place + 24, 4, HEADER)?);
    let length = source.little(place + 32, 4, HEADER)?;
    let duration = ratio(length.saturating_mul(scale), rate);
    let pictures = &kind == b"vids";
    if pictures && source.facts.frame_rate.is_none() {
        source.facts.frame_rate = ratio(rate, scale);
        source.facts.duration = duration;
    }
    if &kind == b"auds" && source.facts.sound.is_none() {
        source.facts.sound = duration;
    }
    Ok(())
}

/// The index of a long AVI file: every index that it names lies inside the file.
fn index_of_indexes(source: &mut Source<'_>, place: u64, size: u64) -> Result<(), Stop> {
    let what = "its index";
    let (width, kind) = (source.little(place, 2, what)?, source.byte(place + 3, what)?);
    if width != 4 || kind != 0 {
        return Ok(());
    }
    let count = source.little(place + 4, 4, what)?.min((size - 24) / 16);
    for entry in 0..count {
        let at = place + 24 + entry * 16;
        let (from, length) = (source.little(at, 8, what)?, source.little(at + 8, 4, what)?);
        source.inside(from, length, "the part that its index names")?;
    }
    Ok(())
}

/// The size of a WebP picture.
fn picture(source: &mut Source<'_>, name: [u8; 4], place: u64, size: u64) -> Result<(), Stop> {
    if size < 10 || source.facts.pixels.is_some() {
        return Ok(());
    }
    let (width, height) = match &name {
        b"VP8X" => {
            (source.little(place + 4, 3, HEADER)? + 1, source.little(place + 7, 3, HEADER)? + 1)
        }
        b"VP8L" => {
            let bits = source.little(place + 1, 4, HEADER)?;
            ((bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1)
        }
        _ => (
            source.little(place + 6, 2, HEADER)? & 0x3FFF,
            source.little(place + 8, 2, HEADER)? & 0x3FFF,
        ),
    };
    source.facts.note_pixels(width, height);
    Ok(())
}
