//! The size of H.264 pictures (ITU-T H.264, 7.3.2.1.1; from memory), as its parameters state it in
//! a stream that has no other place for it.

/// Profiles whose parameters have more fields.
const HIGH: [u8; 13] = [100, 110, 122, 244, 44, 83, 86, 118, 128, 138, 139, 134, 135];

/// Other profiles that recorders use.
const SIMPLE: [u8; 3] = [66, 77, 88];

/// The width and the height that the parameters in a packet state. `None` if it has none, or if
/// they are of a rare kind.
pub(super) fn size(packet: &[u8]) -> Option<(u64, u64)> {
    // Behind the header of the packet a picture begins with a mark or with its parameters. Pictures
    // of other kinds begin with other numbers, and use these for something else.
    let packet = packet.get(9..)?;
    let codes = || packet.windows(4).enumerate().filter(|(_, four)| four[..3] == [0, 0, 1]);
    if !matches!(codes().next()?.1[3], 0x09 | 0x27 | 0x47 | 0x67) {
        return None;
    }
    let (start, _) = codes().find(|(_, four)| matches!(four[3], 0x27 | 0x47 | 0x67))?;
    let mut bits = Bits { bytes: unescaped(packet.get(start + 4..)?), place: 24 };
    let profile = *bits.bytes.first()?;
    if !HIGH.contains(&profile) && !SIMPLE.contains(&profile) {
        return None;
    }
    bits.number()?;
    let mut chroma = 1;
    if HIGH.contains(&profile) {
        chroma = bits.number()?;
        if chroma == 3 {
            bits.bit()?;
        }
        bits.number()?;
        bits.number()?;
        // Lists of factors, which nearly all recorders leave out, would have to be read first.
        bits.bit()?;
        if bits.bit()? == 1 {
            return None;
        }
    }
    bits.number()?;
    match bits.number()? {
        0 => drop(bits.number()?),
        1 => return None,
        _ => {}
    }
    bits.number()?;
    bits.bit()?;
    let (width, height) = (bits.number()? + 1, bits.number()? + 1);
    let fields = 2 - bits.bit()?;
    if fields == 2 {
        bits.bit()?;
    }
    bits.bit()?;
    let (mut across, mut down) = (0, 0);
    if bits.bit()? == 1 {
        across = bits.number()? + bits.number()?;
        down = bits.number()? + bits.number()?;
    }
    let (wide, high) = match chroma {
        1 => (2, 2),
        2 => (2, 1),
        _ => (1, 1),
    };
    Some((
        (width * 16).checked_sub(across * wide)?,
        (height * 16 * fields).checked_sub(down * high * fields)?,
    ))
}

/// Without the bytes that keep a code from beginning in the middle.
fn unescaped(bytes: &[u8]) -> Vec<u8> {
    let mut kept = Vec::new();
    let mut zeros = 0;
    for byte in bytes {
        if zeros >= 2 && *byte == 3 {
            zeros = 0;
            continue;
        }
        zeros = if *byte == 0 { zeros + 1 } else { 0 };
        kept.push(*byte);
    }
    kept
}

struct Bits {
    bytes: Vec<u8>,
    place: usize,
}

impl Bits {
    fn bit(&mut self) -> Option<u64> {
        let byte = *self.bytes.get(self.place / 8)?;
        let bit = byte >> (7 - self.place % 8) & 1;
        self.place += 1;
        Some(u64::from(bit))
    }

    /// A number as long as the zeros before it, at most 24 bits.
    fn number(&mut self) -> Option<u64> {
        let mut zeros = 0;
        while self.bit()? == 0 {
            zeros += 1;
            if zeros > 24 {
                return None;
            }
        }
        let mut number = 1;
        for _ in 0..zeros {
            number = number << 1 | self.bit()?;
        }
        Some(number - 1)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    /// A packet of a picture at the time 0.
    fn packet(content: &[u8]) -> Vec<u8> {
        let length = u16::try_from(content.len() + 8).unwrap().to_be_bytes();
        let time = [0x80, 0x80, 5, 0x21, 0, 1, 0, 1];
        [&[0, 0, 1, 0xE0], &length[..], &time, content].concat()
    }

    /// Parameters that libx264 wrote: 1,920 by 1,080, of which the last eight rows are left out.
    #[test]
    fn parameters_of_pictures_state_their_size() {
        let simple = b"\
      \x00\x00\x00\x01\x67\x42\xC0\x28\xDA\x01\xE0\x08\x9F\x97\x01\x10\
      \x00\x00\x03\x00\x10\x00\x00\x03\x03\x20\xF1\x83\x2A\x00\x00\x00";
        let high = b"\
      \x00\x00\x00\x01\x67\x64\x00\x28\xAC\xD9\x40\x78\x02\x27\xE5\xC0\
      \x44\x00\x00\x03\x00\x04\x00\x00\x03\x00\xC8\x3C\x60\xC6\x58\x00\
      \x00\x00\x01\x68\xEA\xE3\xCB\x22";
        for parameters in [&simple[..], high] {
            let packet = packet(parameters);
            assert_eq!(super::size(&packet), Some((1920, 1080)));
            for length in 0..packet.len() {
                let _ = super::size(&packet[..length]);
            }
        }
        // A piece of a picture of another kind begins with the same number.
        assert_eq!(super::size(&packet(b"\0\0\x01\x06\0\0\x01\x07pictures")), None);
    }
}
