//! Pictures in boxes: HEIC and AVIF (ISO/IEC 14496-12, 8.11, and 23008-12, 6.5.3; from memory).

use super::boxes::{Box, each};
use super::source::{Source, Stop};

/// The items of a picture: where `iloc` says that they are.
pub(super) fn items(source: &mut Source<'_>, meta: Box) -> Result<(), Stop> {
    let mut extents = 0;
    let inner = Box { content: meta.content + 4, ..meta };
    each(source, inner, |source, part| {
        match &part.name {
            b"iloc" => extents = item_locations(source, part)?,
            b"iprp" => properties(source, part)?,
            _ => {}
        }
        Ok(())
    })?;
    if extents == 0 {
        return Err(Stop::damaged("it does not say where its picture is"));
    }
    Ok(())
}

fn item_locations(source: &mut Source<'_>, part: Box) -> Result<u64, Stop> {
    let what = "the list of its parts";
    let version = source.byte(part.content, what)?;
    let sizes = source.big(part.content + 4, 2, what)?;
    let nibble = |shift: u32| usize::try_from(sizes >> shift & 15).unwrap_or(0).min(8);
    let (offset, length, base) = (nibble(12), nibble(8), nibble(4));
    let index = if version > 0 { nibble(0) } else { 0 };
    let id = if version < 2 { 2 } else { 4 };
    let mut place = part.content + 6;
    let items = source.big(place, id, what)?;
    place += id as u64;
    let mut extents = 0;
    for _ in 0..items {
        place += id as u64;
        let method = if version > 0 { source.big(place, 2, what)? & 15 } else { 0 };
        place += if version > 0 { 4 } else { 2 };
        let start = source.big(place, base, what)?;
        place += base as u64;
        let count = source.big(place, 2, what)?;
        place += 2;
        if index + offset + length == 0 {
            // All of the file, or nothing that can be examined.
            extents += count;
            continue;
        }
        for _ in 0..count {
            place += index as u64;
            let from = source.big(place, offset, what)?;
            let size = source.big(place + offset as u64, length, what)?;
            place += (offset + length) as u64;
            if place > part.end {
                return Err(Stop::damaged("the list of its parts is too short"));
            }
            // Others lie in the index itself, which is inside the file.
            if method == 0 {
                source.inside(start.saturating_add(from), size, "its picture")?;
            }
            extents += 1;
        }
    }
    Ok(extents)
}

/// The size of the largest picture. Tiles and previews are smaller.
fn properties(source: &mut Source<'_>, part: Box) -> Result<(), Stop> {
    let mut largest = 0;
    each(source, part, |source, part| {
        if &part.name != b"ipco" {
            return Ok(());
        }
        each(source, part, |source, part| {
            if &part.name == b"ispe" && part.end >= part.content + 12 {
                let what = "its header";
                let width = source.big(part.content + 4, 4, what)?;
                let height = source.big(part.content + 8, 4, what)?;
                if width * height > largest {
                    largest = width * height;
                    source.facts.note_pixels(width, height);
                }
            }
            Ok(())
        })
    })
}
