//! MP4, QuickTime and HEIF: boxes (ISO/IEC 14496-12 and 23008-12; from memory). The boxes fill the
//! file, there is an index, and every sample that it names is inside.

use super::samples;
use super::source::{Source, Stop, shown};

/// A box: its name, where its content begins, and where it ends.
#[derive(Clone, Copy)]
pub(super) struct Box {
    pub(super) name: [u8; 4],
    pub(super) content: u64,
    pub(super) end: u64,
}

/// The box at a place inside another one that ends at `end`. `open` tells whether it has no stated
/// size and goes to the end of the file.
pub(super) fn box_at(source: &mut Source<'_>, place: u64, end: u64) -> Result<(Box, bool), Stop> {
    let size = source.big(place, 4, "the header of a box")?;
    let name = source.name(place + 4, "the header of a box")?;
    let what = format!("its box {}", shown(name));
    let (content, size, open) = match size {
        0 => (place + 8, end - place, true),
        1 => (place + 16, source.big(place + 8, 8, &what)?, false),
        size => (place + 8, size, false),
    };
    if size < content - place {
        return Err(Stop::damaged(format!("{what} has an impossible size")));
    }
    source.inside(place, size, &what)?;
    if place + size > end {
        return Err(Stop::damaged(format!("{what} is longer than the box that holds it")));
    }
    Ok((Box { name, content, end: place + size }, open))
}

/// Calls `see` with every box inside another one.
pub(super) fn each(
    source: &mut Source<'_>,
    holder: Box,
    mut see: impl FnMut(&mut Source<'_>, Box) -> Result<(), Stop>,
) -> Result<(), Stop> {
    let mut place = holder.content;
    // QuickTime ends some lists of boxes with four zero bytes.
    while place + 8 <= holder.end {
        let (inner, _) = box_at(source, place, holder.end)?;
        see(source, inner)?;
        place = inner.end;
    }
    Ok(())
}

/// What the boxes at the top of a file are.
#[derive(Default)]
struct Top {
    index: Option<Box>,
    /// The index of a picture.
    meta: Option<Box>,
    data: bool,
    open_data: bool,
    fragments: usize,
    /// Whether the last fragment is followed by its data.
    complete: bool,
    /// Whether an index of all fragments ends the file.
    closed: bool,
}

pub(super) fn boxes(source: &mut Source<'_>) -> Result<(), Stop> {
    let length = source.length();
    let mut top = Top::default();
    let mut place = 0;
    while place < length {
        let (part, open) = box_at(source, place, length)?;
        top.closed = &part.name == b"mfra";
        match &part.name {
            b"moov" => top.index = Some(part),
            b"meta" => top.meta = Some(part),
            b"mdat" => {
                (top.data, top.complete) = (true, true);
                top.open_data |= open;
            }
            b"moof" => {
                top.fragments += 1;
                top.complete = false;
            }
            _ => {}
        }
        place = part.end;
    }
    match (top.index, top.meta) {
        (Some(index), _) => film(source, index, &top),
        (None, Some(meta)) => items(source, meta),
        (None, None) if top.data => Err(Stop::cut(
            "its index is missing, so the recording was cut off and cannot be played",
        )),
        (None, None) => Err(Stop::cut("it has neither an index nor pictures")),
    }
}

fn film(source: &mut Source<'_>, index: Box, top: &Top) -> Result<(), Stop> {
    let mut found = samples::Found::default();
    each(source, index, |source, part| match &part.name {
        b"trak" => samples::track(source, part, &mut found),
        b"cmov" => Err(Stop::unknown("its index is compressed")),
        b"mvex" => {
            found.fragmented = true;
            Ok(())
        }
        _ => Ok(()),
    })?;
    if found.fragmented || top.fragments > 0 {
        if top.fragments > 0 && !top.complete {
            return Err(Stop::cut("the pictures of its last fragment are missing"));
        }
        if top.fragments == 0 && found.samples == 0 {
            return Err(Stop::cut("it has no pictures, so the recording was cut off"));
        }
        if !top.closed {
            return Err(Stop::unknown(
                "it is a recording in fragments that does not show whether it goes on",
            ));
        }
        return Ok(());
    }
    if found.samples == 0 {
        return Err(Stop::damaged("its index names no pictures and no sound"));
    }
    if top.open_data {
        return Err(Stop::unknown("the size of its pictures was never written"));
    }
    Ok(())
}

/// The items of a picture: where `iloc` says that they are.
fn items(source: &mut Source<'_>, meta: Box) -> Result<(), Stop> {
    let mut extents = 0;
    let inner = Box { content: meta.content + 4, ..meta };
    each(source, inner, |source, part| {
        if &part.name == b"iloc" {
            extents = item_locations(source, part)?;
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
