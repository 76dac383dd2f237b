//! Small files of every format.

/// CRC-32, bit by bit, to compare the table with.
pub(super) fn crc(bytes: &[u8]) -> u32 {
    let mut sum = u32::MAX;
    for byte in bytes {
        sum ^= u32::from(*byte);
        for _ in 0..8 {
            sum = if sum & 1 == 1 { (sum >> 1) ^ 0xEDB8_8320 } else { sum >> 1 };
        }
    }
    !sum
}

pub(super) fn jpeg() -> Vec<u8> {
    let mut file = b"\xFF\xD8\xFF\xE0\0\x10JFIF\0\x01\x01\0\0\x01\0\x01\0\0".to_vec();
    file.extend(b"\xFF\xE1\0\x08\xFF\xD8\xFF\xD9\0\0"); // A preview in a segment ends early.
    file.extend(b"\xFF\xC0\0\x0B\x08\0\x08\0\x08\x01\x01\x11\0");
    file.extend(b"\xFF\xDA\0\x08\x01\x01\0\0\x3F\0\x12\xFF\0\x34\xFF\xD0\x56\x78");
    file.extend(b"\xFF\xFF\xD9");
    file
}

pub(super) fn png() -> Vec<u8> {
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

pub(super) fn gif() -> Vec<u8> {
    let mut file = b"GIF89a\x02\0\x01\0\x80\0\0\0\0\0\xFF\xFF\xFF".to_vec();
    file.extend(b"\x21\xF9\x04\0\0\0\0\0\x2C\0\0\0\0\x02\0\x01\0\0\x02\x02\x44\x01\0\x3B");
    file
}

pub(super) fn bmp() -> Vec<u8> {
    let mut file = b"BM\x3A\0\0\0\0\0\0\0\x36\0\0\0\x28\0\0\0".to_vec();
    file.resize(0x3A, 7);
    file
}

/// Two directories, the strips at the end.
pub(super) fn tiff(big: bool) -> Vec<u8> {
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

pub(super) fn chunk(name: &[u8], data: &[u8]) -> Vec<u8> {
    let mut chunk = name.to_vec();
    chunk.extend(u32::try_from(data.len()).unwrap().to_le_bytes());
    chunk.extend(data);
    chunk.resize(chunk.len() + data.len() % 2, 0);
    chunk
}

pub(super) fn riff(kind: &[u8], chunks: &[Vec<u8>]) -> Vec<u8> {
    chunk(b"RIFF", &[kind, &chunks.concat()].concat())
}

pub(super) fn avi(index: bool, flag: u8) -> Vec<u8> {
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

pub(super) fn boxed(name: &[u8], data: &[u8]) -> Vec<u8> {
    let mut part = (u32::try_from(data.len()).unwrap() + 8).to_be_bytes().to_vec();
    part.extend(name);
    part.extend(data);
    part
}

pub(super) fn longs(numbers: &[u32]) -> Vec<u8> {
    numbers.iter().flat_map(|number| number.to_be_bytes()).collect()
}

/// An index of four samples in two chunks.
pub(super) fn moov(first: u32, fragmented: bool) -> Vec<u8> {
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

pub(super) fn mp4(index_first: bool) -> Vec<u8> {
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

pub(super) fn fragmented(closed: bool) -> Vec<u8> {
    let fragment = || [boxed(b"moof", &[0; 8]), boxed(b"mdat", &[7; 9])].concat();
    let mut file =
        [boxed(b"ftyp", b"iso5\0\0\0\0"), moov(0, true), fragment(), fragment()].concat();
    if closed {
        file.extend(boxed(b"mfra", &[0; 4]));
    }
    file
}

pub(super) fn heic() -> Vec<u8> {
    let start = boxed(b"ftyp", b"heic\0\0\0\0");
    let locations = |from: u32| {
        let mut list = b"\0\0\0\0\x44\0\0\x01\0\x01\0\0\0\x01".to_vec();
        list.extend(longs(&[from, 6]));
        boxed(b"meta", &[vec![0; 4], boxed(b"iloc", &list)].concat())
    };
    let from = u32::try_from(start.len() + locations(0).len()).unwrap() + 8;
    [start, locations(from), boxed(b"mdat", b"colour")].concat()
}

pub(super) fn element(id: &[u8], data: &[u8]) -> Vec<u8> {
    let mut element = id.to_vec();
    element.push(0x40 | u8::try_from(data.len() >> 8).unwrap());
    element.push(u8::try_from(data.len() & 255).unwrap());
    element.extend(data);
    element
}

pub(super) fn mkv(known: bool) -> Vec<u8> {
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
pub(super) fn mp3(info: Option<u8>) -> Vec<u8> {
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

pub(super) fn program_stream(end: bool) -> Vec<u8> {
    let mut file = b"\0\0\x01\xBA\x44\0\x04\0\x04\x01\0\0\x03\xF8".to_vec();
    for _ in 0..3 {
        file.extend(b"\0\0\x01\xE0\0\x06\x80\0\0abc");
    }
    if end {
        file.extend(b"\0\0\x01\xB9");
    }
    file
}

pub(super) fn transport_stream() -> Vec<u8> {
    let mut packet = vec![0x47];
    packet.resize(188, 0xFF);
    [packet.clone(), packet.clone(), packet].concat()
}

pub(super) fn pdf() -> Vec<u8> {
    let mut file = b"%PDF-1.4\n1 0 obj\n<< /Type /Catalog >>\nendobj\n".to_vec();
    let table = file.len();
    file.extend(b"xref\n0 1\n0000000000 65535 f \ntrailer\n<< /Size 1 /Root 1 0 R >>\n");
    file.extend(format!("startxref\n{table}\n%%EOF").into_bytes());
    file
}
