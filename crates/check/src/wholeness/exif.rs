//! Exif (CIPA DC-008; from memory): how a picture is to be turned, and when it was taken. Exif is
//! stored as a small TIFF file, in which its tags have directories.

use std::io::Cursor;

use jiff::civil::{Date, DateTime, Time};
use jiff::tz::Offset;

use super::facts::{Captured, MediaFacts};
use super::source::{Source, Stop};

/// The most entries of a directory that are read.
const ENTRIES: u64 = 4096;

#[derive(Default)]
struct Found {
    orientation: Option<u8>,
    taken: Option<DateTime>,
    /// When it became a file, which is the same moment for a digital camera.
    digitized: Option<DateTime>,
    offset: Option<Offset>,
    more: Option<u64>,
}

/// Notes what a block of Exif states. What is wrong in it is left out: the picture does not need
/// it.
pub(super) fn note(block: &[u8], facts: &mut MediaFacts) {
    let block = block.strip_prefix(b"Exif\0\0").unwrap_or(block);
    let mut cursor = Cursor::new(block);
    if let Ok(mut source) = Source::new(&mut cursor) {
        note_tiff(&mut source);
        facts.orientation = source.facts.orientation.or(facts.orientation);
        facts.captured = source.facts.captured.or(facts.captured);
    }
}

/// Notes what the first directory of a TIFF file and its Exif directory state.
pub(super) fn note_tiff(source: &mut Source<'_>) {
    let mut found = Found::default();
    // A directory that ends early has been read up to there.
    let _ = read(source, &mut found);
    source.facts.orientation = found.orientation.or(source.facts.orientation);
    // Tag 0132 is the time of the last edit, not of the recording.
    if let Some(at) = found.taken.or(found.digitized) {
        source.facts.captured = Some(Captured { at, offset: found.offset });
    }
}

fn read(source: &mut Source<'_>, found: &mut Found) -> Result<(), Stop> {
    let big = source.byte(0, WHAT)? == b'M';
    let first = number(source, big, 4, 4)?;
    directory(source, big, first, found)?;
    match found.more.take() {
        Some(more) => directory(source, big, more, found),
        None => Ok(()),
    }
}

const WHAT: &str = "its Exif data";

fn number(source: &mut Source<'_>, big: bool, place: u64, count: usize) -> Result<u64, Stop> {
    if big { source.big(place, count, WHAT) } else { source.little(place, count, WHAT) }
}

fn directory(
    source: &mut Source<'_>,
    big: bool,
    place: u64,
    found: &mut Found,
) -> Result<(), Stop> {
    let entries = number(source, big, place, 2)?.min(ENTRIES);
    for entry in 0..entries {
        let at = place + 2 + entry * 12;
        match number(source, big, at, 2)? {
            0x0112 => {
                let value = number(source, big, at + 8, 2)?;
                found.orientation =
                    u8::try_from(value).ok().filter(|value| (1..=8).contains(value));
            }
            0x9004 => found.digitized = text(source, big, at)?.as_deref().and_then(time),
            0x9003 => found.taken = text(source, big, at)?.as_deref().and_then(time),
            0x9011 => found.offset = text(source, big, at)?.as_deref().and_then(offset),
            0x8769 => found.more = Some(number(source, big, at + 8, 4)?),
            _ => {}
        }
    }
    Ok(())
}

/// A short text of a directory.
fn text(source: &mut Source<'_>, big: bool, entry: u64) -> Result<Option<Vec<u8>>, Stop> {
    let length = number(source, big, entry + 4, 4)?;
    if number(source, big, entry + 2, 2)? != 2 || !(5..=32).contains(&length) {
        return Ok(None);
    }
    let place = number(source, big, entry + 8, 4)?;
    let length = usize::try_from(length).unwrap_or(0);
    Ok(source.at(place, length, WHAT).ok().map(<[u8]>::to_vec))
}

fn digits(text: &[u8]) -> Option<i16> {
    let all = !text.is_empty() && text.iter().all(u8::is_ascii_digit);
    if all { std::str::from_utf8(text).ok()?.parse().ok() } else { None }
}

/// `2026:05:17 09:41:03`, as Exif writes a time.
fn time(text: &[u8]) -> Option<DateTime> {
    let part = |from: usize, count: usize| digits(text.get(from..from + count)?);
    let small = |from: usize| i8::try_from(part(from, 2)?).ok();
    let date = Date::new(part(0, 4)?, small(5)?, small(8)?).ok()?;
    let time = Time::new(small(11)?, small(14)?, small(17)?, 0).ok()?;
    // Zeros mean that the camera's clock was not set.
    (date.year() > 0).then(|| date.to_datetime(time))
}

/// `+01:00`.
fn offset(text: &[u8]) -> Option<Offset> {
    let sign = match text.first()? {
        b'+' => 1,
        b'-' => -1,
        _ => return None,
    };
    let hours = i32::from(digits(text.get(1..3)?)?);
    let minutes = i32::from(digits(text.get(4..6)?)?);
    Offset::from_seconds(sign * (hours * 3600 + minutes * 60)).ok()
}
