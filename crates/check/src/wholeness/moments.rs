//! How long a film in boxes lasts, when it was recorded, and the size and the rate of its pictures
//! (ISO/IEC 14496-12, 8.2 to 8.8; from memory).

use super::boxes::{Box, each};
use super::facts::{MediaFacts, ratio};
use super::source::{Source, Stop};

const INDEX: &str = "its index";

/// The most tracks of which times are computed.
const TRACKS: usize = 64;

/// A track of a film.
#[derive(Default)]
struct Track {
    number: u64,
    pictures: bool,
    sound: bool,
    /// Units of time in a second.
    scale: u64,
    /// In units of time.
    duration: u64,
    samples: u64,
    /// As Exif numbers it.
    turned: Option<u8>,
    /// The duration of a sample in fragments that do not state it.
    usual: u64,
}

/// The tracks of a film.
#[derive(Default)]
pub(super) struct Moments {
    tracks: Vec<Track>,
    created: u64,
    fragments: bool,
}

impl Moments {
    /// Notes what the index states.
    pub(super) fn index(&mut self, source: &mut Source<'_>, index: Box) -> Result<(), Stop> {
        self.tracks.clear();
        each(source, index, |source, part| {
            match &part.name {
                b"mvhd" => self.created = time(source, part)?.0,
                b"trak" if self.tracks.len() < TRACKS => {
                    let mut track = Track::default();
                    descend(source, part, 0, &mut track)?;
                    self.tracks.push(track);
                }
                b"mvex" => self.usual(source, part)?,
                _ => {}
            }
            Ok(())
        })
    }

    /// What holds for all fragments.
    fn usual(&mut self, source: &mut Source<'_>, part: Box) -> Result<(), Stop> {
        self.fragments = true;
        each(source, part, |source, part| {
            if &part.name == b"trex" && part.end >= part.content + 16 {
                let number = source.big(part.content + 4, 4, INDEX)?;
                let usual = source.big(part.content + 12, 4, INDEX)?;
                if let Some(track) = self.track(number) {
                    track.usual = usual;
                }
            }
            Ok(())
        })
    }

    fn track(&mut self, number: u64) -> Option<&mut Track> {
        self.tracks.iter_mut().find(|track| track.number == number)
    }

    /// Adds the samples of a fragment.
    pub(super) fn fragment(&mut self, source: &mut Source<'_>, part: Box) -> Result<(), Stop> {
        each(source, part, |source, part| {
            if &part.name != b"traf" {
                return Ok(());
            }
            let (mut number, mut usual) = (0, None);
            each(source, part, |source, part| {
                match &part.name {
                    b"tfhd" => (number, usual) = fragment_header(source, part)?,
                    b"trun" => {
                        let Some(track) = self.track(number) else { return Ok(()) };
                        let usual = usual.unwrap_or(track.usual);
                        let (samples, duration) = run(source, part, usual)?;
                        track.samples += samples;
                        track.duration = track.duration.saturating_add(duration);
                    }
                    _ => {}
                }
                Ok(())
            })
        })
    }

    pub(super) fn note(&self, facts: &mut MediaFacts) {
        // Seconds since 1904; some recorders count from 1970, when there were no such films yet.
        let year = if self.created < 2_082_844_800 { 1970 } else { 1904 };
        facts.note_captured(year, self.created);
        let longest = |kind: fn(&Track) -> bool| {
            self.tracks
                .iter()
                .filter(|track| kind(track))
                .filter_map(|track| ratio(track.duration, track.scale))
                .reduce(f64::max)
        };
        let pictures = self.tracks.iter().find(|track| track.pictures);
        facts.sound = longest(|track| track.sound);
        facts.duration = longest(|track| track.pictures);
        if let Some(track) = pictures {
            facts.orientation = track.turned;
            facts.frame_rate = ratio(track.samples.saturating_mul(track.scale), track.duration);
        } else if facts.sound.is_some() || self.tracks.iter().any(|track| track.sound) {
            facts.duration = facts.sound;
            facts.media_type = Some(match facts.media_type {
                Some("video/3gpp") => "audio/3gpp",
                _ => "audio/mp4",
            });
        }
    }
}

/// Finds what a track states in its boxes.
fn descend(
    source: &mut Source<'_>,
    holder: Box,
    depth: usize,
    track: &mut Track,
) -> Result<(), Stop> {
    each(source, holder, |source, part| {
        match &part.name {
            b"mdia" | b"minf" | b"stbl" if depth < 4 => descend(source, part, depth + 1, track)?,
            b"tkhd" => {
                track.number = track_number(source, part)?;
                track.turned = turned(source, part)?;
            }
            b"mdhd" => track.scale = time(source, part)?.1,
            b"hdlr" if part.end >= part.content + 12 => {
                let kind = source.name(part.content + 8, INDEX)?;
                track.pictures |= &kind == b"vide";
                track.sound |= &kind == b"soun";
            }
            b"stsd" if track.pictures && part.end >= part.content + 44 => {
                let width = source.big(part.content + 40, 2, INDEX)?;
                let height = source.big(part.content + 42, 2, INDEX)?;
                if source.facts.pixels.is_none() {
                    source.facts.note_pixels(width, height);
                }
            }
            b"stts" => durations(source, part, track)?,
            _ => {}
        }
        Ok(())
    })
}

/// When a film or a track was made, and its units of time in a second.
fn time(source: &mut Source<'_>, part: Box) -> Result<(u64, u64), Stop> {
    let long = source.byte(part.content, INDEX)? == 1;
    let (width, at) = if long { (8, 20) } else { (4, 12) };
    if part.end < part.content + at + 4 {
        return Err(Stop::damaged("its index is shorter than it states"));
    }
    Ok((source.big(part.content + 4, width, INDEX)?, source.big(part.content + at, 4, INDEX)?))
}

fn track_number(source: &mut Source<'_>, part: Box) -> Result<u64, Stop> {
    let at = if source.byte(part.content, INDEX)? == 1 { 20 } else { 12 };
    if part.end < part.content + at + 4 {
        return Err(Stop::damaged("its index is shorter than it states"));
    }
    source.big(part.content + at, 4, INDEX)
}

/// How the pictures of a track are to be turned, as numbers by which places are multiplied. `None`
/// if it is no quarter turn.
fn turned(source: &mut Source<'_>, part: Box) -> Result<Option<u8>, Stop> {
    const ONE: u64 = 1 << 16;
    const MINUS: u64 = (1 << 32) - ONE;
    let long = source.byte(part.content, INDEX)? == 1;
    let at = part.content + if long { 52 } else { 40 };
    if part.end < at + 20 {
        return Ok(None);
    }
    let mut number = |index: u64| source.big(at + index * 4, 4, INDEX);
    Ok(match (number(0)?, number(1)?, number(3)?, number(4)?) {
        (ONE, 0, 0, ONE) => Some(1),
        (MINUS, 0, 0, MINUS) => Some(3),
        (0, ONE, MINUS, 0) => Some(6),
        (0, MINUS, ONE, 0) => Some(8),
        _ => None,
    })
}

/// The samples of a track: runs of samples that last as long as each other.
fn durations(source: &mut Source<'_>, part: Box, track: &mut Track) -> Result<(), Stop> {
    let count = source.big(part.content + 4, 4, INDEX)?;
    if part.content + 8 + count * 8 > part.end {
        return Err(Stop::damaged("its index is shorter than it states"));
    }
    for entry in 0..count {
        let at = part.content + 8 + entry * 8;
        let (samples, each) = (source.big(at, 4, INDEX)?, source.big(at + 4, 4, INDEX)?);
        track.samples += samples;
        track.duration = track.duration.saturating_add(samples * each);
    }
    Ok(())
}

/// The track of a fragment, and the duration of its samples if it states that.
fn fragment_header(source: &mut Source<'_>, part: Box) -> Result<(u64, Option<u64>), Stop> {
    let flags = source.big(part.content, 4, INDEX)?;
    let number = source.big(part.content + 4, 4, INDEX)?;
    // Before it come the place of the data and the description of the samples, if stated.
    let at =
        part.content + 8 + if flags & 1 != 0 { 8 } else { 0 } + if flags & 2 != 0 { 4 } else { 0 };
    let usual =
        if flags & 8 != 0 && at + 4 <= part.end { Some(source.big(at, 4, INDEX)?) } else { None };
    Ok((number, usual))
}

/// How many samples a run has, and their duration together.
fn run(source: &mut Source<'_>, part: Box, usual: u64) -> Result<(u64, u64), Stop> {
    let flags = source.big(part.content, 4, INDEX)?;
    let count = source.big(part.content + 4, 4, INDEX)?;
    let has = |flag: u64| u64::from(flags & flag != 0);
    let first = part.content + 8 + 4 * (has(1) + has(4));
    let width = 4 * (has(0x100) + has(0x200) + has(0x400) + has(0x800));
    if first + count * width > part.end {
        return Err(Stop::damaged("the index of a fragment is shorter than it states"));
    }
    if has(0x100) == 0 {
        return Ok((count, count * usual));
    }
    let mut duration = 0u64;
    for sample in 0..count {
        duration += source.big(first + sample * width, 4, INDEX)?;
    }
    Ok((count, duration))
}
