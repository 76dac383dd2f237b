//! JPEG (ITU-T T.81), PNG (ISO/IEC 15948), GIF (version 89a) and BMP (RFC 7903); from memory.

use super::exif;
use super::facts::MediaFacts;
use super::source::{Source, Stop, shown};

/// A picture, and others behind it, as cameras write previews. A picture of which a part was
/// replaced by its end can only be found by decoding it.
pub(super) fn jpeg(source: &mut Source<'_>) -> Result<(), Stop> {
    let mut place = picture(source, 0)?;
    let facts = source.facts.clone();
    let trailing = source.length() - place;
    while source.length() - place >= 3 && source.at(place, 3, WHAT)? == [0xFF, 0xD8, 0xFF] {
        match picture(source, place) {
            Ok(end) => place = end,
            Err(Stop::Cut(how)) => {
                return Err(Stop::cut(format!("another picture follows, of which {how}")));
            }
            // What follows the first picture is no part of it.
            Err(Stop::Damaged(_) | Stop::Unknown(_)) => break,
            Err(stop) => return Err(stop),
        }
    }
    source.facts = MediaFacts { trailing, ..facts };
    Ok(())
}

const WHAT: &str = "its segments";

/// The next marker, and the place after it. A marker may be preceded by any number of fill bytes.
fn marker(source: &mut Source<'_>, mut place: u64) -> Result<(u8, u64), Stop> {
    if source.byte(place, WHAT)? != 0xFF {
        return Err(Stop::damaged("there is no marker where a segment should begin"));
    }
    loop {
        place += 1;
        match source.byte(place, WHAT)? {
            0xFF => {}
            marker => return Ok((marker, place + 1)),
        }
    }
}

/// Segments by their lengths, scans to the next marker, up to the end of the picture.
fn picture(source: &mut Source<'_>, start: u64) -> Result<u64, Stop> {
    const SCAN: u8 = 0xDA;
    let (mut place, mut frame, mut scans) = (start + 2, false, 0);
    loop {
        let (marker, after) = marker(source, place)?;
        place = after;
        match marker {
            0xD9 if frame && scans > 0 => return Ok(place),
            0xD9 => return Err(Stop::damaged("it ends before any picture data")),
            0x01 | 0xD0..=0xD7 => continue,
            0x00 | 0xD8 => return Err(Stop::damaged("a marker is not allowed where it is")),
            _ => {}
        }
        let length = source.big(place, 2, WHAT)?;
        if length < 2 {
            return Err(Stop::damaged("a segment has an impossible length"));
        }
        source.inside(place, length, "one of its segments")?;
        note_segment(source, marker, place, length)?;
        place += length;
        frame |= is_frame(marker);
        if marker == SCAN {
            scans += 1;
            place = end_of_scan(source, place)?;
        }
    }
}

/// Frames are C0 to CF, except tables (C4, CC) and an extension (C8).
fn is_frame(marker: u8) -> bool {
    matches!(marker, 0xC0..=0xCF) && !matches!(marker, 0xC4 | 0xC8 | 0xCC)
}

fn note_segment(source: &mut Source<'_>, marker: u8, place: u64, length: u64) -> Result<(), Stop> {
    if is_frame(marker) && length >= 7 {
        let (height, width) = (source.big(place + 3, 2, WHAT)?, source.big(place + 5, 2, WHAT)?);
        source.facts.note_pixels(width, height);
    }
    if marker == 0xE1 && length >= 8 && source.at(place + 2, 6, WHAT)? == b"Exif\0\0" {
        note_exif(source, place + 2, length - 2)?;
    }
    Ok(())
}

/// Notes a block of Exif, unless it is longer than a segment of JPEG can be.
pub(super) fn note_exif(source: &mut Source<'_>, place: u64, length: u64) -> Result<(), Stop> {
    if let Ok(length) = u16::try_from(length) {
        let block = source.at(place, usize::from(length), "its Exif data")?.to_vec();
        exif::note(&block, &mut source.facts);
    }
    Ok(())
}

/// The place of the marker after entropy-coded data: an FF that is neither stuffed nor a restart.
fn end_of_scan(source: &mut Source<'_>, mut place: u64) -> Result<u64, Stop> {
    loop {
        let rest = source.rest_of_block(place)?;
        if rest.is_empty() {
            return Err(Stop::cut("the file ends within its picture data"));
        }
        let Some(found) = rest.iter().position(|byte| *byte == 0xFF) else {
            place += rest.len() as u64;
            continue;
        };
        place += found as u64;
        match source.byte(place + 1, "its picture data")? {
            0x00 | 0xD0..=0xD7 => place += 2,
            0xFF => place += 1,
            _ => return Ok(place),
        }
    }
}

/// Chunks by their lengths and check sums, up to the last one.
pub(super) fn png(source: &mut Source<'_>) -> Result<(), Stop> {
    let mut place = 8;
    let (mut first, mut data) = (true, false);
    loop {
        let length = source.big(place, 4, "the header of a chunk")?;
        let name = source.name(place + 4, "the header of a chunk")?;
        if length > 0x7FFF_FFFF || !name.iter().all(u8::is_ascii_alphabetic) {
            return Err(Stop::damaged("there is no chunk where one should begin"));
        }
        let what = format!("its chunk {}", shown(name));
        source.inside(place + 8, length + 4, &what)?;
        if first && &name != b"IHDR" {
            return Err(Stop::damaged("it does not begin with its header"));
        }
        if first && length >= 8 {
            let (width, height) =
                (source.big(place + 8, 4, &what)?, source.big(place + 12, 4, &what)?);
            source.facts.note_pixels(width, height);
        }
        first = false;
        data |= &name == b"IDAT";
        if &name == b"eXIf" {
            note_exif(source, place + 8, length)?;
        }
        let computed = check_sum(source, place + 4, length + 4)?;
        if u64::from(computed) != source.big(place + 8 + length, 4, &what)? {
            return Err(Stop::damaged(format!("the check sum of {what} is wrong")));
        }
        place += length + 12;
        if &name == b"IEND" {
            source.facts.trailing = source.length() - place;
            return if data { Ok(()) } else { Err(Stop::damaged("it has no picture data")) };
        }
    }
}

/// CRC-32 of PNG (ISO/IEC 15948, annex D).
fn check_sum(source: &mut Source<'_>, mut place: u64, mut count: u64) -> Result<u32, Stop> {
    let mut sum = u32::MAX;
    while count > 0 {
        let rest = source.rest_of_block(place)?;
        let part = rest.len().min(usize::try_from(count).unwrap_or(usize::MAX));
        if part == 0 {
            return Err(Stop::cut("the file ends within a chunk"));
        }
        for byte in &rest[..part] {
            sum = CRC_TABLE[usize::from(sum.to_le_bytes()[0] ^ byte)] ^ (sum >> 8);
        }
        place += part as u64;
        count -= part as u64;
    }
    Ok(!sum)
}

const CRC_TABLE: [u32; 256] = {
    let mut table = [0; 256];
    let mut byte = 0;
    while byte < 256 {
        let (mut sum, mut bit) = (byte as u32, 0);
        while bit < 8 {
            sum = if sum & 1 == 1 { 0xEDB8_8320 ^ (sum >> 1) } else { sum >> 1 };
            bit += 1;
        }
        table[byte] = sum;
        byte += 1;
    }
    table
};

/// Blocks and their sub-blocks, up to the trailer.
pub(super) fn gif(source: &mut Source<'_>) -> Result<(), Stop> {
    let colours = |flags: u8| {
        if flags & 0x80 == 0 { 0 } else { 3 << (u64::from(flags & 7) + 1) }
    };
    let mut place = 13 + colours(source.byte(10, "its header")?);
    let (width, height) = (source.little(6, 2, "its header")?, source.little(8, 2, "its header")?);
    source.facts.note_pixels(width, height);
    let mut images = 0;
    loop {
        match source.byte(place, "its blocks")? {
            0x3B if images > 0 => {
                source.facts.trailing = source.length() - place - 1;
                return Ok(());
            }
            0x3B => return Err(Stop::damaged("it has no picture")),
            0x21 => place = sub_blocks(source, place + 2)?,
            0x2C => {
                images += 1;
                let table = colours(source.byte(place + 9, "a picture's header")?);
                place = sub_blocks(source, place + 10 + table + 1)?;
            }
            _ => return Err(Stop::damaged("there is no block where one should begin")),
        }
    }
}

fn sub_blocks(source: &mut Source<'_>, mut place: u64) -> Result<u64, Stop> {
    loop {
        let length = u64::from(source.byte(place, "its blocks")?);
        place += length + 1;
        if length == 0 {
            return Ok(place);
        }
    }
}

/// The size that the header states, and the size that its rows need, as some programs write a wrong
/// one or none.
pub(super) fn bmp(source: &mut Source<'_>) -> Result<(), Stop> {
    let what = "its header";
    let stated = source.little(2, 4, what)?;
    let pixels = source.little(10, 4, what)?;
    let old = source.little(14, 4, what)? == 12;
    let (width, height, depth) = if old {
        let (width, height) = (source.little(18, 2, what)?, source.little(20, 2, what)?);
        (width, height, source.little(24, 2, what)?)
    } else {
        // Rows from the top downwards have a negative height.
        let height = source.little(22, 4, what)?;
        let height = if height > 1 << 31 { (1 << 32) - height } else { height };
        (source.little(18, 4, what)?, height, source.little(28, 2, what)?)
    };
    source.facts.note_pixels(width, height);
    let packed = !old && !matches!(source.little(30, 4, what)?, 0 | 3 | 6);
    if pixels < 26 || stated > 0 && pixels >= stated {
        return Err(Stop::damaged("its header does not say where the picture begins"));
    }
    let row = (width * depth).div_ceil(32) * 4;
    let needed = if packed { 0 } else { pixels.saturating_add(row.saturating_mul(height)) };
    if needed.max(stated) == 0 {
        return Err(Stop::unknown("its header does not state its size"));
    }
    source.inside(0, needed.max(stated), "its picture data")?;
    source.facts.trailing = source.length() - needed.max(stated);
    Ok(())
}
