//! MPEG program and transport streams (ISO/IEC 13818-1; from memory). Any beginning of such a
//! stream is one too.

use super::source::{Source, Stop};

const OPEN: &str = "a stream of this kind does not show whether it goes on";

/// Packets of 188 bytes.
pub(super) fn transport_stream(source: &mut Source<'_>) -> Result<(), Stop> {
    const PACKET: u64 = 188;
    let mut place = 0;
    while place < source.length() {
        source.inside(place, PACKET, "its last packet")?;
        if source.byte(place, "its packets")? != 0x47 {
            return Err(Stop::damaged("a packet does not begin where it should"));
        }
        place += PACKET;
    }
    Err(Stop::unknown(OPEN))
}

/// Packs and packets by their lengths. Only an end code shows the end.
pub(super) fn program_stream(source: &mut Source<'_>) -> Result<(), Stop> {
    let mut place = 0;
    while place < source.length() {
        let start = source.big(place, 4, "the header of a packet")?;
        let length = match start {
            0x1B9 if place + 4 == source.length() => return Ok(()),
            0x1B9 => 4,
            0x1BA => match source.byte(place + 4, "the header of a pack")? {
                first if first & 0xC0 == 0x40 => {
                    14 + u64::from(source.byte(place + 13, "the header of a pack")? & 7)
                }
                _ => 12,
            },
            0x1BB..=0x1FF => 6 + source.big(place + 4, 2, "the header of a packet")?,
            // Zeros between packets are allowed.
            0 => 1,
            1 => 1,
            _ => return Err(Stop::damaged("a packet does not begin where it should")),
        };
        source.inside(place, length, "its last packet")?;
        place += length;
    }
    Err(Stop::unknown(OPEN))
}
