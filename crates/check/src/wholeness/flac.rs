//! FLAC (RFC 9639, sections 8 and 9; from memory). Its header states how many samples there are,
//! and every frame ends in a check sum.

use super::facts::ratio;
use super::source::{Source, Stop};

/// The longest header of a frame.
const HEADER: usize = 16;

pub(super) fn flac(source: &mut Source<'_>) -> Result<(), Stop> {
    let (mut place, mut stated, what) = (4, 0, "its header");
    loop {
        let header = source.big(place, 4, what)?;
        let (last, kind, length) = (header >> 31 == 1, header >> 24 & 0x7F, header & 0xFF_FFFF);
        source.inside(place + 4, length, what)?;
        if kind == 0 && length >= 18 {
            stated = source.big(place + 17, 5, what)? & 0xF_FFFF_FFFF;
            let sampling = source.big(place + 14, 3, what)? >> 4;
            source.facts.duration = ratio(stated, sampling);
            source.facts.sound = source.facts.duration;
        }
        place += 4 + length;
        if last {
            break;
        }
    }
    let (samples, ended) = frames(source, place)?;
    match (stated, ended) {
        (0, true) => Err(Stop::unknown("it does not state how much sound it has")),
        (0, false) => Err(Stop::cut("the file ends within a frame, or a frame was changed")),
        (stated, true) if samples >= stated => Ok(()),
        (stated, _) if samples < stated => {
            Err(Stop::cut(format!("it has {samples} of the {stated} samples that it states")))
        }
        _ => Err(Stop::damaged("the check sum of a frame is wrong")),
    }
}

/// How many samples the frames have, and whether the file ends where a frame does. A frame does not
/// state its length: the next one is found by its header, where the check sum is right.
fn frames(source: &mut Source<'_>, mut place: u64) -> Result<(u64, bool), Stop> {
    let (mut sum, mut samples, mut current) = (0, 0, 0);
    while place < source.length() {
        let rest = source.rest_of_block(place)?;
        let starts = |pair: &[u8]| pair[0] == 0xFF && pair[1] & 0xFE == 0xF8;
        // The last byte is looked at together with the first one of the next block.
        let found = rest.windows(2).position(starts);
        let skip = found.unwrap_or(if rest.len() > 1 { rest.len() - 1 } else { 1 });
        sum = rest[..skip].iter().fold(sum, add);
        place += skip as u64;
        if found.is_none() {
            continue;
        }
        let room = usize::try_from(source.length() - place).unwrap_or(HEADER).min(HEADER);
        let head = source.at(place, room, "a frame")?;
        if sum == 0 {
            if let Some(count) = header(head) {
                samples += current;
                current = count;
            }
        }
        sum = add(sum, &head[0]);
        place += 1;
    }
    if sum == 0 {
        samples += current;
    }
    Ok((samples, sum == 0 && current > 0))
}

/// How many samples the frame has that begins with these bytes; `None` if they are not a header.
fn header(head: &[u8]) -> Option<u64> {
    let (size, rate) = (head.get(2)? >> 4, head.get(2)? & 15);
    // The number of the frame or of its first sample, written as UTF-8 writes letters.
    let number = match head.get(4)?.leading_ones() {
        0 => 1,
        1 => return None,
        ones => usize::try_from(ones).ok()?,
    };
    let at = 4 + number;
    let more = match size {
        6 => 1,
        7 => 2,
        _ => 0,
    };
    let byte = |index: usize| head.get(index).copied().map(u64::from);
    let samples = match size {
        0 => return None,
        1 => 192,
        2..=5 => 576 << (size - 2),
        6 => byte(at)? + 1,
        7 => (byte(at)? << 8 | byte(at + 1)?) + 1,
        size => 256 << (size - 8),
    };
    let rate = match rate {
        12 => 1,
        13 | 14 => 2,
        15 => return None,
        _ => 0,
    };
    let end = at + more + rate;
    let sum = head.get(..end)?.iter().fold(0u8, |sum, byte| {
        (0..8).fold(sum ^ byte, |sum, _| if sum >> 7 == 1 { sum << 1 ^ 7 } else { sum << 1 })
    });
    (sum == *head.get(end)?).then_some(samples)
}

/// CRC-16 of FLAC, the greatest bit first. Over a frame with its sum it is zero.
fn add(sum: u16, byte: &u8) -> u16 {
    (sum << 8) ^ CRC_TABLE[usize::from(sum.to_be_bytes()[0] ^ byte)]
}

const CRC_TABLE: [u16; 256] = {
    let mut table = [0; 256];
    let mut byte = 0;
    while byte < 256 {
        let (mut sum, mut bit) = ((byte as u16) << 8, 0);
        while bit < 8 {
            sum = if sum >> 15 == 1 { (sum << 1) ^ 0x8005 } else { sum << 1 };
            bit += 1;
        }
        table[byte] = sum;
        byte += 1;
    }
    table
};
