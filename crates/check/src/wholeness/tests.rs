//! Small files of every format, made here: whole ones are called whole, and none of them is when
//! it is cut at any byte.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::io::Cursor;

use super::{Wholeness, examine};

fn verdict(file: &[u8]) -> Wholeness {
    examine(&mut Cursor::new(file)).unwrap()
}

/// CRC-32, bit by bit, to compare the table with.
fn crc(bytes: &[u8]) -> u32 {
    let mut sum = u32::MAX;
    for byte in bytes {
        sum ^= u32::from(*byte);
        for _ in 0..8 {
            sum = if sum & 1 == 1 { (sum >> 1) ^ 0xEDB8_8320 } else { sum >> 1 };
        }
    }
    !sum
}

fn jpeg() -> Vec<u8> {
    let mut file = b"\xFF\xD8\xFF\xE0\0\x10JFIF\0\x01\x01\0\0\x01\0\x01\0\0".to_vec();
    file.extend(b"\xFF\xE1\0\x08\xFF\xD8\xFF\xD9\0\0"); // A preview in a segment ends early.
    file.extend(b"\xFF\xC0\0\x0B\x08\0\x08\0\x08\x01\x01\x11\0");
    file.extend(b"\xFF\xDA\0\x08\x01\x01\0\0\x3F\0\x12\xFF\0\x34\xFF\xD0\x56\x78");
    file.extend(b"\xFF\xFF\xD9");
    file
}

fn png() -> Vec<u8> {
    let mut file = b"\x89PNG\r\n\x1A\n".to_vec();
    let header = b"\0\0\0\x01\0\0\0\x01\x08\0\0\0\0";
    for (name, data) in [(b"IHDR", &header[..]), (b"IDAT", b"abcdefgh"), (b"IEND", b"")] {
        file.extend(u32::try_from(data.len()).unwrap().to_be_bytes());
        let body = [name, data].concat();
        file.extend(&body);
        file.extend(crc(&body).to_be_bytes());
    }
    file
}

fn gif() -> Vec<u8> {
    let mut file = b"GIF89a\x02\0\x01\0\x80\0\0\0\0\0\xFF\xFF\xFF".to_vec();
    file.extend(b"\x21\xF9\x04\0\0\0\0\0\x2C\0\0\0\0\x02\0\x01\0\0\x02\x02\x44\x01\0\x3B");
    file
}

fn bmp() -> Vec<u8> {
    let mut file = b"BM\x3A\0\0\0\0\0\0\0\x36\0\0\0\x28\0\0\0".to_vec();
    file.resize(0x3A, 7);
    file
}

/// Two directories, the strips at the end.
fn tiff(big: bool) -> Vec<u8> {
    let short = |number: u16| if big { number.to_be_bytes() } else { number.to_le_bytes() };
    let long = |number: u32| if big { number.to_be_bytes() } else { number.to_le_bytes() };
    let mut file = if big { b"MM".to_vec() } else { b"II".to_vec() };
    file.extend(short(42));
    file.extend(long(8));
    for (next, strip) in [(8 + 30, 68), (0, 72)] {
        file.extend(short(2));
        for (tag, value) in [(273, strip), (279, 4)] {
            file.extend(short(tag));
            file.extend(short(4));
            file.extend(long(1));
            file.extend(long(value));
        }
        file.extend(long(next));
    }
    file.resize(68, 0);
    file.extend(b"picture.");
    file
}

fn chunk(name: &[u8], data: &[u8]) -> Vec<u8> {
    let mut chunk = name.to_vec();
    chunk.extend(u32::try_from(data.len()).unwrap().to_le_bytes());
    chunk.extend(data);
    chunk.resize(chunk.len() + data.len() % 2, 0);
    chunk
}

fn riff(kind: &[u8], chunks: &[Vec<u8>]) -> Vec<u8> {
    chunk(b"RIFF", &[kind, &chunks.concat()].concat())
}

fn avi(index: bool, flag: u8) -> Vec<u8> {
    let mut avih = vec![0; 56];
    avih[12] = flag;
    let header = chunk(b"LIST", &[b"hdrl".to_vec(), chunk(b"avih", &avih)].concat());
    let films = chunk(b"LIST", &[b"movi".to_vec(), chunk(b"00dc", b"pictures")].concat());
    let mut chunks = vec![header, films];
    if index {
        chunks.push(chunk(b"idx1", &[0; 16]));
    }
    riff(b"AVI ", &chunks)
}

fn boxed(name: &[u8], data: &[u8]) -> Vec<u8> {
    let mut part = (u32::try_from(data.len()).unwrap() + 8).to_be_bytes().to_vec();
    part.extend(name);
    part.extend(data);
    part
}

fn longs(numbers: &[u32]) -> Vec<u8> {
    numbers.iter().flat_map(|number| number.to_be_bytes()).collect()
}

/// An index of four samples in two chunks.
fn moov(first: u32, fragmented: bool) -> Vec<u8> {
    let (chunks, sizes, runs) = if fragmented {
        (longs(&[0, 0]), longs(&[0, 0, 0]), longs(&[0, 0]))
    } else {
        let sizes = longs(&[0, 0, 4, 3, 5, 7, 1]);
        (longs(&[0, 2, first, first + 15]), sizes, longs(&[0, 2, 1, 3, 1, 2, 1, 1]))
    };
    let tables = [boxed(b"stsz", &sizes), boxed(b"stsc", &runs), boxed(b"stco", &chunks)].concat();
    let track = boxed(b"mdia", &boxed(b"minf", &boxed(b"stbl", &tables)));
    let mut parts = boxed(b"trak", &track);
    if fragmented {
        parts.extend(boxed(b"mvex", &[]));
    }
    boxed(b"moov", &parts)
}

fn mp4(index_first: bool) -> Vec<u8> {
    let start = boxed(b"ftyp", b"isom\0\0\0\0");
    let data = boxed(b"mdat", &[9; 16]);
    let begin = u32::try_from(start.len()).unwrap() + 8;
    if index_first {
        let index = u32::try_from(moov(0, false).len()).unwrap();
        [start, moov(begin + index, false), data].concat()
    } else {
        [start, data, moov(begin, false)].concat()
    }
}

fn fragmented(closed: bool) -> Vec<u8> {
    let fragment = || [boxed(b"moof", &[0; 8]), boxed(b"mdat", &[7; 9])].concat();
    let mut file =
        [boxed(b"ftyp", b"iso5\0\0\0\0"), moov(0, true), fragment(), fragment()].concat();
    if closed {
        file.extend(boxed(b"mfra", &[0; 4]));
    }
    file
}

fn heic() -> Vec<u8> {
    let start = boxed(b"ftyp", b"heic\0\0\0\0");
    let locations = |from: u32| {
        let mut list = b"\0\0\0\0\x44\0\0\x01\0\x01\0\0\0\x01".to_vec();
        list.extend(longs(&[from, 6]));
        boxed(b"meta", &[vec![0; 4], boxed(b"iloc", &list)].concat())
    };
    let from = u32::try_from(start.len() + locations(0).len()).unwrap() + 8;
    [start, locations(from), boxed(b"mdat", b"colour")].concat()
}

fn element(id: &[u8], data: &[u8]) -> Vec<u8> {
    let mut element = id.to_vec();
    element.push(0x40 | u8::try_from(data.len() >> 8).unwrap());
    element.push(u8::try_from(data.len() & 255).unwrap());
    element.extend(data);
    element
}

fn mkv(known: bool) -> Vec<u8> {
    let mut file = element(b"\x1A\x45\xDF\xA3", &element(b"\x42\x82", b"matroska"));
    let cluster = element(b"\x1F\x43\xB6\x75", &element(b"\xA3", b"pictures"));
    let content = [element(b"\x15\x49\xA9\x66", b""), cluster.clone(), cluster].concat();
    if known {
        file.extend(element(b"\x18\x53\x80\x67", &content));
    } else {
        file.extend(b"\x18\x53\x80\x67\x01\xFF\xFF\xFF\xFF\xFF\xFF\xFF");
        file.extend(content);
    }
    file
}

/// 32 kbit/s at 48 kHz: frames of 96 bytes.
fn mp3(info: Option<u8>) -> Vec<u8> {
    let mut frame = b"\xFF\xFB\x14\0".to_vec();
    frame.resize(96, 0x55);
    let mut file = b"ID3\x04\0\0\0\0\0\x02ab".to_vec();
    if let Some(count) = info {
        let mut first = frame.clone();
        first[36..48].copy_from_slice(&[b'I', b'n', b'f', b'o', 0, 0, 0, 1, 0, 0, 0, count]);
        file.extend(first);
    }
    file.extend([frame.clone(), frame.clone(), frame].concat());
    file
}

fn program_stream(end: bool) -> Vec<u8> {
    let mut file = b"\0\0\x01\xBA\x44\0\x04\0\x04\x01\0\0\x03\xF8".to_vec();
    for _ in 0..3 {
        file.extend(b"\0\0\x01\xE0\0\x06\x80\0\0abc");
    }
    if end {
        file.extend(b"\0\0\x01\xB9");
    }
    file
}

fn transport_stream() -> Vec<u8> {
    let mut packet = vec![0x47];
    packet.resize(188, 0xFF);
    [packet.clone(), packet.clone(), packet].concat()
}

fn pdf() -> Vec<u8> {
    let mut file = b"%PDF-1.4\n1 0 obj\n<< /Type /Catalog >>\nendobj\n".to_vec();
    let table = file.len();
    file.extend(b"xref\n0 1\n0000000000 65535 f \ntrailer\n<< /Size 1 /Root 1 0 R >>\n");
    file.extend(format!("startxref\n{table}\n%%EOF").into_bytes());
    file
}

#[test]
fn whole_files_are_called_whole_and_never_once_they_are_cut() {
    let files = [
        ("JPEG", jpeg()),
        ("PNG", png()),
        ("GIF", gif()),
        ("BMP", bmp()),
        ("TIFF", tiff(false)),
        ("TIFF, big-endian", tiff(true)),
        ("WebP", riff(b"WEBP", &[chunk(b"VP8 ", b"picture")])),
        ("WAVE", riff(b"WAVE", &[chunk(b"fmt ", &[0; 16]), chunk(b"data", b"tones")])),
        ("AVI", avi(true, 0x10)),
        ("MP4, index last", mp4(false)),
        ("MP4, index first", mp4(true)),
        ("MP4, closed fragments", fragmented(true)),
        ("HEIC", heic()),
        ("Matroska", mkv(true)),
        ("MP3 with a count", mp3(Some(3))),
        ("MPEG program stream with an end", program_stream(true)),
        ("PDF", pdf()),
    ];
    let mut cuts = 0;
    for (name, file) in &files {
        assert_eq!(verdict(file), Wholeness::Whole, "{name}");
        // The end of line after a PDF's end marker and the pad byte of RIFF are not content.
        for length in 0..file.len() {
            let found = verdict(&file[..length]);
            let padded = *name == "WAVE" && length + 1 == file.len();
            assert!(padded || found != Wholeness::Whole, "{name} cut at {length}: {found:?}");
            cuts += 1;
        }
    }
    assert!(cuts > 1_800, "{cuts} cuts");
}

/// A beginning of such a file is a file.
#[test]
fn open_formats_are_never_called_whole() {
    let files = [
        ("MPEG transport stream", transport_stream()),
        ("MPEG program stream", program_stream(false)),
        ("MP4 in fragments", fragmented(false)),
        ("Matroska without a length", mkv(false)),
        ("MP3 without a count", mp3(None)),
        ("AVI without an index", avi(false, 0)),
        ("something else", b"Hello, world".to_vec()),
    ];
    for (name, file) in &files {
        assert!(
            matches!(verdict(file), Wholeness::CannotTell { .. }),
            "{name}: {:?}",
            verdict(file)
        );
        for length in 0..file.len() {
            assert_ne!(verdict(&file[..length]), Wholeness::Whole, "{name} cut at {length}");
        }
    }
}

/// As a power loss leaves them.
#[test]
fn interrupted_recordings_are_damaged() {
    let mut riff_size = avi(true, 0x10);
    riff_size[4..8].copy_from_slice(&u32::MAX.to_le_bytes());
    let no_index = [boxed(b"ftyp", b"isom\0\0\0\0"), boxed(b"mdat", &[9; 16])].concat();
    let mut open_data = [boxed(b"ftyp", b"isom\0\0\0\0"), boxed(b"mdat", &[9; 16])].concat();
    open_data[16..20].copy_from_slice(&[0; 4]);
    let header = element(b"\x1A\x45\xDF\xA3", &element(b"\x42\x82", b"webm"));
    let files = [
        ("AVI", riff_size),
        ("AVI without its index", avi(false, 0x10)),
        ("MP4", no_index),
        ("MP4 with open data", open_data),
        ("WebM", header),
        ("MP3", mp3(Some(4))),
    ];
    for (name, file) in &files {
        let found = verdict(file);
        assert!(matches!(found, Wholeness::Damaged { cut: true, .. }), "{name}: {found:?}");
    }
    let mut changed = png();
    changed[45] ^= 1;
    assert!(matches!(verdict(&changed), Wholeness::Damaged { cut: false, .. }));
}

/// Nothing that a file states makes the examination fail or run on.
#[test]
fn changed_bytes_do_no_harm() {
    let files = [jpeg(), png(), gif(), bmp(), tiff(false), avi(true, 16), mp4(true), heic()];
    let more = [mkv(true), mp3(Some(3)), program_stream(true), pdf(), fragmented(true)];
    for file in files.iter().chain(&more) {
        for place in 0..file.len() {
            for value in [0, 1, 0x7F, 0x80, 0xFF] {
                let mut changed = file.clone();
                changed[place] = value;
                let _ = verdict(&changed);
            }
        }
    }
}
