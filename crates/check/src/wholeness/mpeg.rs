//! MPEG program and transport streams (ISO/IEC 11172-1, 13818-1 and 13818-2; from memory). Any
//! beginning of such a stream is one too.

use super::source::{Source, Stop};
use super::times::Times;

const OPEN: &str = "a stream of this kind does not show whether it goes on";

/// Packets of 188 bytes, each behind a time of four bytes in files of some recorders.
pub(super) fn transport_stream(source: &mut Source<'_>, before: u64) -> Result<(), Stop> {
    const PACKET: u64 = 188;
    let (mut place, mut times) = (0, Times::default());
    let mut walk = |source: &mut Source<'_>| {
        while place < source.length() {
            source.inside(place, before + PACKET, "its last packet")?;
            if source.byte(place + before, "its packets")? != 0x47 {
                return Err(source.torn(place, "a packet does not begin where it should"));
            }
            transport_packet(source, place + before, &mut times)?;
            place += before + PACKET;
        }
        Err(Stop::unknown(OPEN))
    };
    let stop = walk(source);
    times.note(&mut source.facts);
    stop
}

/// The time of a packet in which a picture or a piece of sound begins.
fn transport_packet(source: &mut Source<'_>, place: u64, times: &mut Times) -> Result<(), Stop> {
    let packet = source.at(place, 188, "its packets")?;
    let begins = packet[1] & 0x40 != 0;
    let content = match packet[3] >> 4 & 3 {
        1 => 4,
        3 => 5 + usize::from(packet[4]),
        _ => return Ok(()),
    };
    match packet.get(content..) {
        Some(content) if begins => times.see_packet(content),
        _ => {}
    }
    Ok(())
}

/// Packs and packets by their lengths. Only an end code shows the end.
pub(super) fn program_stream(source: &mut Source<'_>) -> Result<(), Stop> {
    let mut times = Times::default();
    let walked = packs(source, &mut times);
    times.note(&mut source.facts);
    walked
}

fn packs(source: &mut Source<'_>, times: &mut Times) -> Result<(), Stop> {
    let (mut place, mut ended) = (0, None);
    while place < source.length() {
        if ended == Some(place) && source.at(place, 3, "").is_ok_and(|code| code != [0, 0, 1]) {
            source.facts.trailing = source.length() - place;
            return Ok(());
        }
        let start = source.big(place, 4, "the header of a packet")?;
        let length = match start {
            0x1B9 => {
                ended = Some(place + 4);
                4
            }
            0x1BA => match source.byte(place + 4, "the header of a pack")? {
                first if first & 0xC0 == 0x40 => {
                    14 + u64::from(source.byte(place + 13, "the header of a pack")? & 7)
                }
                _ => 12,
            },
            0x1BB..=0x1FF => 6 + source.big(place + 4, 2, "the header of a packet")?,
            // Zeros between packets are allowed.
            0 | 1 => {
                let after = source.after_zeros(place)?;
                if after == source.length() {
                    return Err(source.torn(place, ""));
                }
                (after - place).saturating_sub(2).max(1)
            }
            _ => return Err(Stop::damaged("a packet does not begin where it should")),
        };
        source.inside(place, length, "its last packet")?;
        if matches!(start, 0x1BD | 0x1C0..=0x1EF | 0x1FD) {
            let shown = usize::try_from(length).unwrap_or(usize::MAX).min(256);
            times.see_packet(source.at(place, shown, "its packets")?);
        }
        place += length;
    }
    if ended == Some(place) { Ok(()) } else { Err(Stop::unknown(OPEN)) }
}
