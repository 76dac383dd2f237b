//! AAC in ADTS frames (ISO/IEC 13818-7, 6.2; from memory). Any beginning of frames is a file.

use super::facts::ratio;
use super::source::{Source, Stop};

/// The length of a frame, and how many pieces of 1,024 samples it has in a second.
struct Frame {
    length: u64,
    blocks: u64,
    sampling: u64,
}

/// Whether a frame begins at a place, and another one where it ends.
pub(super) fn begins(source: &mut Source<'_>, place: u64) -> bool {
    let Ok(Some(first)) = frame(source, place) else { return false };
    let next = place + first.length;
    next >= source.length() || matches!(frame(source, next), Ok(Some(_)) | Err(_))
}

pub(super) fn adts(source: &mut Source<'_>, mut place: u64) -> Result<(), Stop> {
    let mut seconds = 0.0;
    while place < source.length() {
        let Some(frame) = frame(source, place)? else {
            return Err(source.torn(place, "a frame does not begin where it should"));
        };
        source.inside(place, frame.length, "its last frame")?;
        seconds += ratio(1024 * frame.blocks, frame.sampling).unwrap_or(0.0);
        source.facts.duration = Some(seconds);
        source.facts.sound = Some(seconds);
        place += frame.length;
    }
    Err(Stop::unknown("it does not state how many frames it has"))
}

fn frame(source: &mut Source<'_>, place: u64) -> Result<Option<Frame>, Stop> {
    const RATES: [u64; 13] = [
        96_000, 88_200, 64_000, 48_000, 44_100, 32_000, 24_000, 22_050, 16_000, 12_000, 11_025,
        8_000, 7_350,
    ];
    let header = source.big(place, 7, "the header of a frame")?;
    let bits = |from: u32, count: u32| header >> from & ((1 << count) - 1);
    let sampling = usize::try_from(bits(34, 4)).ok().and_then(|index| RATES.get(index));
    // Twelve bits of one, and two of zero for the layer.
    let (Some(sampling), true) = (sampling, bits(44, 12) == 0xFFF && bits(41, 2) == 0) else {
        return Ok(None);
    };
    let (length, blocks) = (bits(13, 13), bits(0, 2) + 1);
    Ok((length >= 7).then_some(Frame { length, blocks, sampling: *sampling }))
}
