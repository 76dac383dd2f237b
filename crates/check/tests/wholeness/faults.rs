//! Files that are not what they seem at first.

use super::*;

#[test]
fn what_follows_the_end_is_counted() {
    let files = [jpeg(), png(), gif(), bmp(), tiff(false), wave(true), avi(true, 16), asf(false)];
    let more = [mp4(true), mp4(false), mkv(true), mp3(Some(3)), ogg(true), program_stream(true)];
    for file in files.iter().chain(&more) {
        for junk in [&[0; 40][..], b"\xF7\xF7\xF7\xF7\xF7\xF7\xF7\xF7"] {
            let facts = told(&[file, junk].concat());
            assert_eq!(facts.whole, Wholeness::Whole, "{:?}", facts.media_type);
            assert_eq!(facts.trailing, junk.len() as u64, "{:?}", facts.media_type);
        }
        assert_eq!(told(file).trailing, 0, "{:?}", told(file).media_type);
    }
}

/// It may be a part of the film of a kind that is not known here.
#[test]
fn what_may_be_a_part_behind_a_film_is_not_judged() {
    for junk in [&b"This is no part of it"[..], b"\0\0\0"] {
        let found = verdict(&[&mp4(true), junk].concat());
        assert!(matches!(found, Wholeness::CannotTell { .. }), "{found:?}");
    }
    let spare = boxed(b"free", &[0; 30]);
    let file = [mp4(true), spare].concat();
    assert_eq!(verdict(&file), Wholeness::Whole);
    assert!(is_cut(&file[..file.len() - 1]));
}

/// Zeros instead of a fragment are no end.
#[test]
fn zeros_between_fragments_are_damage() {
    let mut file = fragmented(false);
    let at = file.windows(4).position(|name| name == b"moof").unwrap() - 4;
    file[at..at + 16].fill(0);
    // The first fragment is lost, but nothing shows that before it there was one.
    assert_ne!(verdict(&file), Wholeness::Whole);
    let mut file = fragmented(true);
    let at = file.windows(4).rposition(|name| name == b"moof").unwrap() - 4;
    file[at..at + 16].fill(0);
    assert!(matches!(verdict(&file), Wholeness::Damaged { cut: false, .. }));
}

#[test]
fn a_second_picture_must_be_whole() {
    let file = [jpeg(), jpeg()].concat();
    let facts = told(&file);
    assert_eq!((facts.whole, facts.trailing), (Wholeness::Whole, jpeg().len() as u64));
    for length in jpeg().len() + 3..file.len() {
        assert!(is_cut(&file[..length]), "{length}");
    }
}

#[test]
fn texts_are_no_media() {
    let long = "G and more, ".repeat(60);
    let wide: Vec<u8> = "<A text>".repeat(300).encode_utf16().flat_map(u16::to_le_bytes).collect();
    for text in
        [&b"G"[..], b"Gully", long.as_bytes(), &[b"\xFF\xFE", &wide[..]].concat(), b"\xFF\xFEA\0"]
    {
        assert!(matches!(verdict(text), Wholeness::CannotTell { .. }), "{text:?}");
    }
}

/// Directories that lead back, that overlap or that are too many are refused soon.
#[test]
fn directories_are_walked_through_once() {
    let mut circle = tiff(false);
    circle[34..38].copy_from_slice(&8u32.to_le_bytes());
    assert!(matches!(verdict(&circle), Wholeness::Damaged { cut: false, .. }));
    // Each entry names the directory that it is in, a thousand times.
    let mut bomb = b"II\x2A\0\x08\0\0\0".to_vec();
    bomb.extend(2000u16.to_le_bytes());
    for _ in 0..2000 {
        bomb.extend(b"\x4A\x01\x04\0\xE8\x03\0\0\x08\0\0\0");
    }
    bomb.extend([8, 0, 0, 0].repeat(1000));
    let started = std::time::Instant::now();
    assert!(matches!(verdict(&bomb), Wholeness::Damaged { cut: false, .. }));
    assert!(started.elapsed().as_secs() < 10);
}

/// A list of parts whose places take no bytes.
#[test]
fn empty_lists_are_not_walked_through() {
    let mut list = b"\0\0\0\0\0\0\x3A\x98".to_vec();
    list.extend(b"\0\x01\0\0\xFF\xFF".repeat(15_000));
    let file = [
        boxed(b"ftyp", b"heic\0\0\0\0"),
        boxed(b"meta", &[vec![0; 4], boxed(b"iloc", &list)].concat()),
    ];
    let started = std::time::Instant::now();
    let _ = verdict(&file.concat());
    assert!(started.elapsed().as_secs() < 10);
}

#[test]
fn programs_that_forget_to_fill_up_are_understood() {
    for padded in [true, false] {
        let facts = told(&wave(padded));
        assert_eq!((facts.whole, facts.trailing), (Wholeness::Whole, 0));
        assert!(facts.duration.is_some());
    }
}

#[test]
fn sizes_that_were_never_written_are_seen() {
    // The size of the sound stays 0 until the recorder ends.
    let mut file = wave(true);
    let length = file.len();
    file[4..8].copy_from_slice(&52u32.to_le_bytes());
    file[length - 24..length - 20].fill(0);
    assert!(is_cut(&file), "{:?}", verdict(&file));
    // A program that writes into a pipe states no index.
    let mut file = avi(false, 0);
    file[4..8].fill(0xFF);
    assert!(matches!(verdict(&file), Wholeness::CannotTell { .. }));
    let mut file = avi(false, 0x10);
    file[4..8].fill(0xFF);
    assert!(is_cut(&file));
}

/// The index of a long AVI file names a part that lies behind the end of the file.
#[test]
fn parts_of_long_films_must_be_there() {
    let film = |place: u64| {
        let mut index = b"\x04\0\0\0\x01\0\0\x0000dc\0\0\0\0\0\0\0\0\0\0\0\0".to_vec();
        index.extend(place.to_le_bytes());
        index.extend([40, 0, 0, 0, 1, 0, 0, 0]);
        let header = [chunk(b"avih", &[0; 56]), chunk(b"indx", &index)].concat();
        let header = chunk(b"LIST", &[b"hdrl".to_vec(), header].concat());
        let data = chunk(b"LIST", &[b"movi".to_vec(), chunk(b"00dc", &[1; 60])].concat());
        let first = riff(b"AVI ", &[header, data.clone()]);
        (first.len(), [first, riff(b"AVIX", &[data])].concat())
    };
    let (border, file) = film(240);
    assert!(border < 240 && file.len() > 280, "{border} {}", file.len());
    assert_eq!(verdict(&file), Wholeness::Whole);
    assert!(is_cut(&file[..border]), "{:?}", verdict(&file[..border]));
}

#[test]
fn bitmaps_are_as_long_as_their_rows() {
    // Four by four pixels with 24 bits, and a size in the header that is wrong.
    let mut file =
        b"BM\x3A\0\0\0\0\0\0\0\x36\0\0\0\x28\0\0\0\x04\0\0\0\xFC\xFF\xFF\xFF\x01\0\x18\0".to_vec();
    file.resize(54 + 48, 0);
    for stated in [0, 60u32] {
        file[2..6].copy_from_slice(&stated.to_le_bytes());
        assert_eq!(verdict(&file), Wholeness::Whole);
        assert_eq!(told(&file).pixels, Some([4, 4]));
        assert!(is_cut(&file[..file.len() - 1]));
    }
}

/// Of MPEG audio. Where a program may have counted the frame that holds the count, and states no
/// size, the last frame may be missing or not.
#[test]
fn counts_of_frames_are_understood() {
    // The frame that holds the count is counted as well.
    let mut counted = mp3(Some(4));
    let at = counted.windows(4).position(|name| name == b"Info").unwrap();
    let size = u32::try_from(counted.len() - 12).unwrap().to_be_bytes();
    counted[at + 7] = 3;
    counted[at + 12..at + 16].copy_from_slice(&size);
    assert_eq!(verdict(&counted), Wholeness::Whole);
    assert!(is_cut(&counted[..counted.len() - 96]));
    assert!(matches!(verdict(&mp3(Some(4))), Wholeness::CannotTell { .. }));
    // Another way to state it.
    let mut other = mp3(Some(0));
    other[at..at + 20].fill(0);
    other[12 + 36..12 + 40].copy_from_slice(b"VBRI");
    other[12 + 46..12 + 50].copy_from_slice(&384u32.to_be_bytes());
    other[12 + 53] = 3;
    assert_eq!(verdict(&other), Wholeness::Whole);
    assert!(is_cut(&other[..other.len() - 96]));
}

/// As a loss of power leaves them: the blocks of the end were never written.
#[test]
fn zeros_at_the_end_of_a_stream_are_a_cut() {
    for mut file in
        [transport_stream(), m2ts(), program_stream(false), mp3(None), adts(), mkv(false)]
    {
        file.extend([0; 8192]);
        assert!(is_cut(&file), "{:?}", verdict(&file));
    }
}
