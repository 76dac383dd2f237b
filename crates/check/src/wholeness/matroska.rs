//! Matroska and WebM (RFC 8794, RFC 9559; from memory): elements by their sizes.

use super::facts::ratio;
use super::source::{Source, Stop};

const NO_ELEMENT: &str = "there is no element where one should begin";

const SEGMENT: u64 = 0x1853_8067;
const CLUSTER: u64 = 0x1F43_B675;
const INFO: u64 = 0x1549_A966;
const TRACKS: u64 = 0x1654_AE6B;
const TRACK: u64 = 0xAE;
const VIDEO: u64 = 0xE0;

/// An element: its id, where its content begins, and its size if it is known.
struct Element {
    id: u64,
    content: u64,
    size: Option<u64>,
}

pub(super) fn matroska(source: &mut Source<'_>) -> Result<(), Stop> {
    let mut place = 0;
    while place < source.length() {
        let element = element_at(source, place)?;
        let size = match (element.id, element.size) {
            (SEGMENT, size) => return segment(source, element.content, size),
            (_, Some(size)) => size,
            (_, None) => return Err(Stop::damaged("an element has no size")),
        };
        source.inside(element.content, size, "its header")?;
        place = element.content + size;
    }
    Err(Stop::cut("it has no pictures, so the recording was cut off"))
}

/// The elements of the segment, which holds everything. A recorder writes its size at the end.
fn segment(source: &mut Source<'_>, content: u64, size: Option<u64>) -> Result<(), Stop> {
    if let Some(size) = size {
        source.inside(content, size, "its content")?;
    }
    let end = size.map_or(source.length(), |size| content + size);
    let (mut place, mut clusters, mut open) = (content, 0, size.is_none());
    while place < end {
        if open && source.byte(place, "its content")? == 0 {
            return Err(source.torn(place, NO_ELEMENT));
        }
        let element = element_at(source, place)?;
        clusters += usize::from(element.id == CLUSTER);
        match element.size {
            Some(size) => {
                source.inside(element.content, size, "one of its elements")?;
                if element.content + size > end {
                    return Err(Stop::damaged("an element is longer than the one that holds it"));
                }
                match element.id {
                    INFO => info(source, element.content, size)?,
                    TRACKS => tracks(source, element.content, size)?,
                    _ => {}
                }
                place = element.content + size;
            }
            // The elements of a cluster without a size are walked through like its neighbours.
            None if element.id == CLUSTER => {
                open = true;
                place = element.content;
            }
            None => return Err(Stop::damaged("an element has no size")),
        }
    }
    if clusters == 0 {
        return Err(Stop::cut("it has no pictures, so the recording was cut off"));
    }
    source.facts.trailing = source.length() - end;
    if open {
        return Err(Stop::unknown(
            "its length was never written: either it was streamed, or the recording was cut off",
        ));
    }
    Ok(())
}

/// An element inside another one.
struct Part {
    id: u64,
    at: u64,
    size: u64,
}

/// Calls `see` with the elements of one that has a size.
fn each(
    source: &mut Source<'_>,
    mut place: u64,
    size: u64,
    see: &mut dyn FnMut(&mut Source<'_>, Part) -> Result<(), Stop>,
) -> Result<(), Stop> {
    let end = place + size;
    while place < end {
        let element = element_at(source, place)?;
        let size = match element.size {
            Some(size) if element.content <= end && size <= end - element.content => size,
            _ => return Err(Stop::damaged("an element is longer than the one that holds it")),
        };
        see(source, Part { id: element.id, at: element.content, size })?;
        place = element.content + size;
    }
    Ok(())
}

/// How long the film lasts, and when it was recorded.
fn info(source: &mut Source<'_>, place: u64, size: u64) -> Result<(), Stop> {
    // Nanoseconds for each unit of time, unless another number is stated.
    let (mut unit, mut units) = (1_000_000, None);
    each(source, place, size, &mut |source, Part { id, at, size }| {
        match id {
            0x2A_D7B1 => unit = number(source, at, size)?,
            0x4489 => units = float(source, at, size)?,
            // Nanoseconds since 2001, negative before.
            0x4461 => {
                let nanoseconds = i64::try_from(number(source, at, size)?).unwrap_or(0);
                source.facts.note_captured(2001, nanoseconds.unsigned_abs() / 1_000_000_000);
            }
            _ => {}
        }
        Ok(())
    })?;
    let seconds = ratio(unit, 1_000_000_000);
    source.facts.duration = units.zip(seconds).map(|(units, seconds)| units * seconds);
    Ok(())
}

/// The kinds of the tracks, and the size and the rate of the pictures.
fn tracks(source: &mut Source<'_>, place: u64, size: u64) -> Result<(), Stop> {
    let (mut pictures, mut sound) = (false, false);
    each(source, place, size, &mut |source, Part { id, at, size }| {
        if id != TRACK {
            return Ok(());
        }
        let (mut kind, mut each_takes) = (0, 0);
        each(source, at, size, &mut |source, Part { id, at, size }| {
            match id {
                0x83 => kind = number(source, at, size)?,
                0x23_E383 => each_takes = number(source, at, size)?,
                VIDEO => video(source, at, size)?,
                _ => {}
            }
            Ok(())
        })?;
        pictures |= kind == 1;
        sound |= kind == 2;
        if kind == 1 {
            source.facts.frame_rate = ratio(1_000_000_000, each_takes);
        }
        Ok(())
    })?;
    if sound && !pictures {
        source.facts.media_type = match source.facts.media_type {
            Some("video/webm") => Some("audio/webm"),
            _ => Some("audio/matroska"),
        };
        source.facts.sound = source.facts.duration;
    }
    Ok(())
}

fn video(source: &mut Source<'_>, place: u64, size: u64) -> Result<(), Stop> {
    let (mut width, mut height) = (0, 0);
    each(source, place, size, &mut |source, Part { id, at, size }| {
        match id {
            0xB0 => width = number(source, at, size)?,
            0xBA => height = number(source, at, size)?,
            _ => {}
        }
        Ok(())
    })?;
    source.facts.note_pixels(width, height);
    Ok(())
}

/// A number of up to eight bytes; longer ones are no numbers.
fn number(source: &mut Source<'_>, place: u64, size: u64) -> Result<u64, Stop> {
    source.big(place, usize::try_from(size.min(8)).unwrap_or(8), "its header")
}

fn float(source: &mut Source<'_>, place: u64, size: u64) -> Result<Option<f64>, Stop> {
    let bits = number(source, place, size)?;
    let value = match size {
        4 => u32::try_from(bits).map_or(0.0, |bits| f64::from(f32::from_bits(bits))),
        8 => f64::from_bits(bits),
        _ => 0.0,
    };
    Ok((value.is_finite() && value > 0.0).then_some(value))
}

fn element_at(source: &mut Source<'_>, place: u64) -> Result<Element, Stop> {
    let what = "the header of an element";
    let id_length = leading(source.byte(place, what)?, 4)?;
    let id = source.big(place, id_length, what)?;
    let place = place + id_length as u64;
    let length = leading(source.byte(place, what)?, 8)?;
    let all = (1u64 << (7 * length)) - 1;
    let size = source.big(place, length, what)? & all;
    // All ones mean that the size is unknown.
    let size = (size != all).then_some(size);
    Ok(Element { id, content: place + length as u64, size })
}

/// How many bytes a number has, by the zero bits that it begins with.
fn leading(first: u8, most: usize) -> Result<usize, Stop> {
    let length = first.leading_zeros() as usize + 1;
    if length > most {
        return Err(Stop::damaged(NO_ELEMENT));
    }
    Ok(length)
}
