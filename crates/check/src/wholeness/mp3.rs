//! MPEG audio, layers I to III (ISO/IEC 11172-3 and 13818-3; the tags as in common use; from
//! memory).

use super::source::{Source, Stop};

/// The header of a frame.
struct Frame {
    length: u64,
    /// Where the count of frames is, if this frame holds it.
    info: u64,
}

/// Frames one after another. Only a count of frames shows the end.
pub(super) fn mp3(source: &mut Source<'_>) -> Result<(), Stop> {
    let mut place = after_tag(source)?;
    let (mut frames, mut stated) = (0u64, None);
    while place < source.length() {
        if tail(source, place)? {
            break;
        }
        let Some(frame) = frame(source, place)? else {
            return Err(Stop::damaged("a frame does not begin where it should"));
        };
        source.inside(place, frame.length, "its last frame")?;
        match info(source, place, &frame)? {
            Some(count) if frames == 0 && stated.is_none() => stated = Some(count),
            _ => frames += 1,
        }
        place += frame.length;
    }
    match stated {
        _ if frames == 0 => Err(Stop::damaged("it has no sound")),
        Some(count) if count > frames => {
            Err(Stop::cut(format!("it has {frames} of the {count} frames that it states")))
        }
        Some(count) if count > 0 => Ok(()),
        _ => Err(Stop::unknown("it does not state how many frames it has")),
    }
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
    Ok((length > 4).then_some(Frame { length, info: place + 4 + side }))
}

/// The number of frames that the first frame states; 0 if it leaves that out.
fn info(source: &mut Source<'_>, place: u64, frame: &Frame) -> Result<Option<u64>, Stop> {
    if frame.info + 12 > place + frame.length {
        return Ok(None);
    }
    let name = source.name(frame.info, "a frame")?;
    if &name != b"Xing" && &name != b"Info" {
        return Ok(None);
    }
    let counted = source.big(frame.info + 4, 4, "a frame")? & 1 == 1;
    if !counted {
        return Ok(Some(0));
    }
    source.big(frame.info + 8, 4, "a frame").map(Some)
}
