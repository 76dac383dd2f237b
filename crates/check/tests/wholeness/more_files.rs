//! Small files of further formats.

use super::files::{chunk, longs};

/// Sums of bytes, the greatest bit first, bit by bit, to compare tables with.
fn sum(bytes: &[u8], width: u32, polynomial: u32) -> u32 {
    let top = 1 << (width - 1);
    let sum = bytes.iter().fold(0, |sum: u32, byte| {
        (0..8).fold(sum ^ u32::from(*byte) << (width - 8), |sum, _| {
            if sum & top == 0 { sum << 1 } else { sum << 1 ^ polynomial }
        })
    });
    if width == 32 { sum } else { sum & ((1 << width) - 1) }
}

/// 16 bits, one channel, 8,000 samples in a second: ten samples.
fn sound_format() -> Vec<u8> {
    let mut format = b"\x01\0\x01\0\x40\x1F\0\0\x80\x3E\0\0\x02\0\x10\0".to_vec();
    format = chunk(b"fmt ", &format);
    format
}

pub(super) fn rf64() -> Vec<u8> {
    let sound = [7; 20];
    let mut sizes = 92u64.to_le_bytes().to_vec();
    sizes.extend(20u64.to_le_bytes());
    sizes.extend(10u64.to_le_bytes());
    sizes.extend([0; 4]);
    let mut file = b"RF64\xFF\xFF\xFF\xFFWAVE".to_vec();
    file.extend(chunk(b"ds64", &sizes));
    file.extend(sound_format());
    file.extend(b"data\xFF\xFF\xFF\xFF");
    file.extend(sound);
    file.extend([0; 0]);
    let size = u64::try_from(file.len() - 8).unwrap();
    file[20..28].copy_from_slice(&size.to_le_bytes());
    file
}

pub(super) fn streamed_wave() -> Vec<u8> {
    let mut file = b"RIFF\xFF\xFF\xFF\xFFWAVE".to_vec();
    file.extend(sound_format());
    file.extend(b"data\xFF\xFF\xFF\xFF");
    file.extend([7; 20]);
    file
}

/// Ten samples as in `rf64`, with chunks of an odd length before them.
pub(super) fn wave(padded: bool) -> Vec<u8> {
    let mut note = chunk(b"note", b"A pipe.");
    note.truncate(if padded { note.len() } else { note.len() - 1 });
    let parts = [sound_format(), note, chunk(b"data", &[7; 20])].concat();
    chunk(b"RIFF", &[b"WAVE".to_vec(), parts].concat())
}

fn page(flags: u8, granule: u64, number: u32, content: &[u8]) -> Vec<u8> {
    let mut page = b"OggS\0".to_vec();
    page.push(flags);
    page.extend(granule.to_le_bytes());
    page.extend(77u32.to_le_bytes());
    page.extend(number.to_le_bytes());
    page.extend([0; 4]);
    page.push(1);
    page.push(u8::try_from(content.len()).unwrap());
    page.extend(content);
    let sum = sum(&page, 32, 0x04C1_1DB7);
    page[22..26].copy_from_slice(&sum.to_le_bytes());
    page
}

/// A second of sound.
pub(super) fn ogg(ended: bool) -> Vec<u8> {
    let header = b"OpusHead\x01\x01\x38\x01\x80\xBB\0\0\0\0\0";
    let last = if ended { 4 } else { 0 };
    [page(2, 0, 0, header), page(0, 24_312, 1, b"some"), page(last, 48_312, 2, b"sound")].concat()
}

/// Two frames of 192 samples, 48,000 in a second.
pub(super) fn flac(stated: bool) -> Vec<u8> {
    let mut file = b"fLaC\x80\0\0\x22\0\xC0\0\xC0\0\0\0\0\0\0\x0B\xB8\0\xF0\0\0\x01\x80".to_vec();
    file.extend([0; 16]);
    if !stated {
        file[24..26].copy_from_slice(&[0, 0]);
    }
    for number in 0..2 {
        let mut frame = vec![0xFF, 0xF8, 0x1A, 0x08, number];
        frame.push(u8::try_from(sum(&frame, 8, 7)).unwrap());
        frame.extend(b"some sound");
        frame.extend(u16::try_from(sum(&frame, 16, 0x8005)).unwrap().to_be_bytes());
        file.extend(frame);
    }
    file
}

/// 44,100 samples in a second, three frames of 1,024.
pub(super) fn adts() -> Vec<u8> {
    let frame = b"\xFF\xF1\x50\x80\x02\x1F\xFCsounds!..";
    [&frame[..], frame, frame].concat()
}

fn object(name: &[u8; 16], content: &[u8]) -> Vec<u8> {
    let mut object = name.to_vec();
    object.extend(u64::try_from(content.len() + 24).unwrap().to_le_bytes());
    object.extend(content);
    object
}

/// 320 by 240, four seconds.
pub(super) fn asf(live: bool) -> Vec<u8> {
    let mut properties = vec![0; 80];
    properties[32..40].copy_from_slice(&1u64.to_le_bytes());
    properties[40..48].copy_from_slice(&70_000_000u64.to_le_bytes());
    properties[56..64].copy_from_slice(&3_000u64.to_le_bytes());
    properties[64] = u8::from(live);
    let mut stream = b"\xC0\xEF\x19\xBC\x4D\x5B\xCF\x11\xA8\xFD\x00\x80\x5F\x5C\x44\x2B".to_vec();
    stream.resize(54, 0);
    stream.extend(b"\x40\x01\0\0\xF0\0\0\0\x02");
    let content = |size: u64| {
        let mut properties = properties.clone();
        properties[16..24].copy_from_slice(&size.to_le_bytes());
        let file = b"\xA1\xDC\xAB\x8C\x47\xA9\xCF\x11\x8E\xE4\x00\xC0\x0C\x20\x53\x65";
        let streams = b"\x91\x07\xDC\xB7\xB7\xA9\xCF\x11\x8E\xE6\x00\xC0\x0C\x20\x53\x65";
        let objects = [object(file, &properties), object(streams, &stream)].concat();
        let mut header = b"\x02\0\0\0\x01\x02".to_vec();
        header.extend(objects);
        let name = b"\x30\x26\xB2\x75\x8E\x66\xCF\x11\xA6\xD9\x00\xAA\x00\x62\xCE\x6C";
        let data = b"\x36\x26\xB2\x75\x8E\x66\xCF\x11\xA6\xD9\x00\xAA\x00\x62\xCE\x6C";
        [object(name, &header), object(data, &[9; 60])].concat()
    };
    content(u64::try_from(content(0).len()).unwrap())
}

/// A packet of a picture or of sound with its time in seconds.
pub(super) fn packet(stream: u8, seconds: f64, content: &[u8]) -> Vec<u8> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let time = (seconds * 90_000.0).round() as u64 % (1 << 33);
    let mut packet = vec![0, 0, 1, stream];
    packet.extend(u16::try_from(content.len() + 8).unwrap().to_be_bytes());
    packet.extend([0x80, 0x80, 5]);
    let bits = |from: u32, count: u32| (time >> from & ((1 << count) - 1)).to_le_bytes();
    let (high, low) = (bits(15, 15), bits(0, 15));
    packet.push(0x21 | bits(30, 3)[0] << 1);
    packet.extend([high[1] << 1 | high[0] >> 7, high[0] << 1 | 1]);
    packet.extend([low[1] << 1 | low[0] >> 7, low[0] << 1 | 1]);
    packet.extend(content);
    packet
}

/// Packets of 192 bytes: five pictures, 40 ms apart.
pub(super) fn m2ts() -> Vec<u8> {
    let mut file = Vec::new();
    for number in 0..5 {
        let start = file.len();
        file.extend(b"time\x47\x41\0\x10");
        file.extend(packet(0xE0, f64::from(number) * 0.04, b"picture"));
        file.resize(start + 192, 0xFF);
    }
    file
}

/// A block of Exif: turned by a quarter, taken two hours east of Greenwich.
pub(super) fn exif(big: bool) -> Vec<u8> {
    let short = |number: u16| if big { number.to_be_bytes() } else { number.to_le_bytes() };
    let long = |number: u32| if big { number.to_be_bytes() } else { number.to_le_bytes() };
    let entry = |tag: u16, kind: u16, count: u32, value: [u8; 4]| {
        [&short(tag)[..], &short(kind), &long(count), &value].concat()
    };
    let turned = [short(6), [0; 2]].concat().try_into().unwrap();
    let mut block = if big { b"MM".to_vec() } else { b"II".to_vec() };
    block.extend([&short(42)[..], &long(8), &short(2)].concat());
    block.extend(entry(0x0112, 3, 1, turned));
    block.extend(entry(0x8769, 4, 1, long(38)));
    block.extend([&long(0)[..], &short(2)].concat());
    block.extend(entry(0x9003, 2, 20, long(68)));
    block.extend(entry(0x9011, 2, 7, long(88)));
    block.extend(long(0));
    block.extend(b"2026:05:17 09:41:03\0+02:00\0");
    block
}

/// A box whose content begins with a version and flags.
pub(super) fn full(name: &[u8; 4], numbers: &[u32]) -> Vec<u8> {
    super::files::boxed(name, &longs(numbers))
}
