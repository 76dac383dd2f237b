//! Ogg (RFC 3533) with Vorbis (Vorbis I, 4.2.2) or Opus (RFC 7845, 5.1); from memory. The last page
//! of every stream says that it is the last.

use super::facts::ratio;
use super::source::{Source, Stop};

/// The most streams of one file.
const STREAMS: usize = 64;

/// A stream: its number, whether its last page was seen, and samples in a second.
struct Stream {
    number: u64,
    ended: bool,
    sampling: u64,
    /// Samples before the first that is heard.
    skipped: u64,
}

pub(super) fn ogg(source: &mut Source<'_>) -> Result<(), Stop> {
    let mut streams: Vec<Stream> = Vec::new();
    let mut place = 0;
    while place < source.length() {
        if place > 0 && streams.iter().all(|stream| stream.ended) {
            let left = source.length() - place;
            if left < 4 || &source.name(place, "its pages")? != b"OggS" {
                source.facts.trailing = left;
                break;
            }
        }
        place = page(source, place, &mut streams)?;
    }
    if streams.iter().all(|stream| stream.ended) {
        return Ok(());
    }
    Err(Stop::cut("its last page is missing"))
}

/// The place after a page.
fn page(source: &mut Source<'_>, place: u64, streams: &mut Vec<Stream>) -> Result<u64, Stop> {
    let what = "the header of a page";
    if &source.name(place, what)? != b"OggS" {
        return Err(Stop::damaged("a page does not begin where it should"));
    }
    let flags = source.byte(place + 5, what)?;
    let granule = source.little(place + 6, 8, what)?;
    let number = source.little(place + 14, 4, what)?;
    let sum = source.little(place + 22, 4, what)?;
    let segments = source.byte(place + 26, what)?;
    let sizes = source.at(place + 27, usize::from(segments), what)?;
    let content = sizes.iter().map(|size| u64::from(*size)).sum::<u64>();
    let start = place + 27 + u64::from(segments);
    source.inside(start, content, "its last page")?;
    let length = usize::try_from(27 + u64::from(segments) + content).unwrap_or(0);
    if u64::from(check_sum(source.at(place, length, "a page")?)) != sum {
        return Err(Stop::damaged("the check sum of a page is wrong"));
    }
    if flags & 2 != 0 {
        if streams.len() >= STREAMS {
            return Err(Stop::unknown("it has more streams than are examined"));
        }
        let (sampling, skipped) = sampling(source, start, content)?;
        streams.push(Stream { number, ended: false, sampling, skipped });
    }
    if let Some(stream) = streams.iter_mut().rev().find(|stream| stream.number == number) {
        stream.ended |= flags & 4 != 0;
        if let Some(duration) = ratio(granule.saturating_sub(stream.skipped), stream.sampling) {
            // All ones mean that nothing ends on the page.
            if granule != u64::MAX {
                source.facts.duration = Some(duration);
                source.facts.sound = Some(duration);
                source.facts.media_type = Some("audio/ogg");
            }
        }
    }
    Ok(start + content)
}

/// Samples in a second that the first packet of a stream states, and how many are left out.
fn sampling(source: &mut Source<'_>, place: u64, length: u64) -> Result<(u64, u64), Stop> {
    let what = "its header";
    if length >= 16 && source.at(place, 7, what)? == b"\x01vorbis" {
        return Ok((source.little(place + 12, 4, what)?, 0));
    }
    if length >= 12 && source.at(place, 8, what)? == b"OpusHead" {
        return Ok((48_000, source.little(place + 10, 2, what)?));
    }
    Ok((0, 0))
}

/// CRC-32 of Ogg: the greatest bit first, and the four bytes of the sum itself as zeros.
fn check_sum(page: &[u8]) -> u32 {
    page.iter().enumerate().fold(0, |sum, (index, byte)| {
        let byte = if (22..26).contains(&index) { 0 } else { *byte };
        (sum << 8) ^ CRC_TABLE[usize::from(sum.to_be_bytes()[0] ^ byte)]
    })
}

const CRC_TABLE: [u32; 256] = {
    let mut table = [0; 256];
    let mut byte = 0;
    while byte < 256 {
        let (mut sum, mut bit) = ((byte as u32) << 24, 0);
        while bit < 8 {
            sum = if sum >> 31 == 1 { (sum << 1) ^ 0x04C1_1DB7 } else { sum << 1 };
            bit += 1;
        }
        table[byte] = sum;
        byte += 1;
    }
    table
};
