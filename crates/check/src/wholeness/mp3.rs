//! MPEG audio, layers I to III (ISO/IEC 11172-3 and 13818-3; the tags as in common use; from
//! memory).

use super::adts;
use super::facts::ratio;
use super::source::{Source, Stop};

/// The header of a frame.
struct Frame {
    length: u64,
    /// Where the count of frames is, if this frame holds it.
    info: u64,
    samples: u64,
    /// Samples in a second.
    sampling: u64,
}

/// What the first frame states about all of them.
#[derive(Default)]
struct Stated {
    frames: Option<u64>,
    /// From the first frame on.
    bytes: Option<u64>,
}

/// Frames one after another. Only a count of frames shows the end.
pub(super) fn mp3(source: &mut Source<'_>) -> Result<(), Stop> {
    let first = after_tag(source)?;
    if adts::begins(source, first) {
        source.facts.media_type = Some("audio/aac");
        return adts::adts(source, first);
    }
    if first == 0 && !begins(source)? {
        return Err(Stop::unknown("its format is not one whose structure is examined"));
    }
    source.facts.media_type = Some("audio/mpeg");
    let (mut place, mut frames, mut stated, mut seconds) = (first, 0u64, None, 0.0);
    while place < source.length() && !tail(source, place)? {
        let Some(frame) = frame(source, place)? else {
            return behind(source, place, frames, stated.as_ref());
        };
        source.inside(place, frame.length, "its last frame")?;
        match info(source, place, &frame)? {
            Some(found) if frames == 0 && stated.is_none() => stated = Some(found),
            _ => {
                frames += 1;
                seconds += ratio(frame.samples, frame.sampling).unwrap_or(0.0);
            }
        }
        place += frame.length;
        source.facts.duration = Some(seconds);
        source.facts.sound = Some(seconds);
    }
    judge(place - first, frames, stated.as_ref())
}

/// What follows the frames, if it is neither a frame nor a tag. If all frames are there, it is no
/// part of the sound.
fn behind(
    source: &mut Source<'_>,
    place: u64,
    frames: u64,
    stated: Option<&Stated>,
) -> Result<(), Stop> {
    if stated.and_then(|stated| stated.frames).is_some_and(|count| count > 0 && count <= frames) {
        source.facts.trailing = source.length() - place;
        return Ok(());
    }
    Err(source.torn(place, "a frame does not begin where it should"))
}

fn judge(bytes: u64, frames: u64, stated: Option<&Stated>) -> Result<(), Stop> {
    let count = stated.and_then(|stated| stated.frames).unwrap_or(0);
    let size = stated.and_then(|stated| stated.bytes).unwrap_or(0);
    if frames == 0 {
        return Err(Stop::damaged("it has no sound"));
    }
    if count == 0 {
        return Err(Stop::unknown("it does not state how many frames it has"));
    }
    // Some programs count the frame that holds the count.
    if count == frames + 1 && size <= bytes {
        if size > 0 {
            return Ok(());
        }
        return Err(Stop::unknown("its last frame may be missing"));
    }
    if count > frames {
        return Err(Stop::cut(format!("it has {frames} of the {count} frames that it states")));
    }
    Ok(())
}

/// Whether a file without a tag begins with frames. A frame begins with twelve bits, which other
/// files have too, so that a second one must follow if there is room for it.
fn begins(source: &mut Source<'_>) -> Result<bool, Stop> {
    if source.length() < 4 {
        return Ok(false);
    }
    let Some(first) = frame(source, 0)? else { return Ok(false) };
    if first.length + 4 > source.length() {
        // Layer I is as good as never used, and its first bytes are those of texts in UTF-16.
        return Ok(source.byte(1, "its first frame")? & 6 != 6);
    }
    Ok(frame(source, first.length)?.is_some())
}

/// The place after the tags at the beginning.
fn after_tag(source: &mut Source<'_>) -> Result<u64, Stop> {
    let mut place = 0;
    while place + 10 <= source.length() && source.at(place, 3, "its tag")? == b"ID3" {
        let footer = if source.byte(place + 5, "its tag")? & 0x10 != 0 { 10 } else { 0 };
        let size = source.at(place + 6, 4, "its tag")?;
        let size = size.iter().fold(0, |number, byte| number << 7 | u64::from(byte & 0x7F));
        source.inside(place, 10 + size + footer, "its tag")?;
        place += 10 + size + footer;
    }
    Ok(place)
}

/// Whether only tags follow.
fn tail(source: &mut Source<'_>, place: u64) -> Result<bool, Stop> {
    let left = source.length() - place;
    let tag = left == 128 && source.at(place, 3, "its tag")? == b"TAG";
    Ok(tag || left >= 32 && source.at(place, 8, "its tag")? == b"APETAGEX")
}

fn frame(source: &mut Source<'_>, place: u64) -> Result<Option<Frame>, Stop> {
    const RATES: [[u64; 15]; 5] = [
        [0, 32, 64, 96, 128, 160, 192, 224, 256, 288, 320, 352, 384, 416, 448],
        [0, 32, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 384],
        [0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320],
        [0, 32, 48, 56, 64, 80, 96, 112, 128, 144, 160, 176, 192, 224, 256],
        [0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160],
    ];
    let header = source.big(place, 4, "the header of a frame")?;
    let bits = |from: u32, count: u32| header >> from & ((1 << count) - 1);
    let (version, layer, rate) = (bits(19, 2), bits(17, 2), bits(12, 4));
    let (sampling, padding, mono) = (bits(10, 2), bits(9, 1), bits(6, 2) == 3);
    if header >> 21 != 0x7FF || version == 1 || layer == 0 || rate == 15 || sampling == 3 {
        return Ok(None);
    }
    if rate == 0 {
        return Err(Stop::unknown("its frames do not state their lengths"));
    }
    let first = version == 3;
    let row = match (first, layer) {
        (true, 3) => 0,
        (true, 2) => 1,
        (true, _) => 2,
        (false, 3) => 3,
        (false, _) => 4,
    };
    let rate = usize::try_from(rate).map_or(0, |rate| RATES[row][rate]) * 1000;
    let base = [44_100, 48_000, 32_000][usize::try_from(sampling).unwrap_or(0).min(2)];
    let sampling = match version {
        3 => base,
        2 => base / 2,
        _ => base / 4,
    };
    let length = match layer {
        3 => (12 * rate / sampling + padding) * 4,
        1 if !first => 72 * rate / sampling + padding,
        _ => 144 * rate / sampling + padding,
    };
    let side = match (first, mono) {
        (true, false) => 32,
        (false, true) => 9,
        _ => 17,
    };
    let samples = match layer {
        3 => 384,
        1 if !first => 576,
        _ => 1152,
    };
    Ok((length > 4).then_some(Frame { length, info: place + 4 + side, samples, sampling }))
}

/// What a frame states about all frames, if it is one that does; one of two kinds in common use.
fn info(source: &mut Source<'_>, place: u64, frame: &Frame) -> Result<Option<Stated>, Stop> {
    let end = place + frame.length;
    if place + 54 <= end && source.at(place + 36, 4, "a frame")? == b"VBRI" {
        let bytes = Some(source.big(place + 46, 4, "a frame")?);
        let frames = Some(source.big(place + 50, 4, "a frame")?);
        return Ok(Some(Stated { frames, bytes }));
    }
    if frame.info + 16 > end {
        return Ok(None);
    }
    let name = source.name(frame.info, "a frame")?;
    if &name != b"Xing" && &name != b"Info" {
        return Ok(None);
    }
    let flags = source.big(frame.info + 4, 4, "a frame")?;
    let (mut at, mut stated) = (frame.info + 8, Stated::default());
    if flags & 1 == 1 {
        stated.frames = Some(source.big(at, 4, "a frame")?);
        at += 4;
    }
    if flags & 2 == 2 {
        stated.bytes = Some(source.big(at, 4, "a frame")?);
    }
    Ok(Some(stated))
}
