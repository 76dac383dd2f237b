//! Small files of every format, made here: whole ones are called whole, and none of them is when
//! it is cut at any byte.

#![allow(clippy::unwrap_used, clippy::panic)]

mod facts;
mod faults;
mod files;
mod more_files;
mod properties;

use std::io::Cursor;

use self::files::*;
use self::more_files::*;
use obvert_check::wholeness::{MediaFacts, Wholeness, describe, examine};

fn verdict(file: &[u8]) -> Wholeness {
    examine(&mut Cursor::new(file)).unwrap()
}

fn told(file: &[u8]) -> MediaFacts {
    describe(&mut Cursor::new(file)).unwrap()
}

fn is_cut(file: &[u8]) -> bool {
    matches!(verdict(file), Wholeness::Damaged { cut: true, .. })
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
        ("WAVE of more than four gigabytes", rf64()),
        ("Ogg", ogg(true)),
        ("FLAC", flac(true)),
        ("ASF", asf(false)),
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
        ("MPEG transport stream with times of arrival", m2ts()),
        ("AAC", adts()),
        ("FLAC without a length", flac(false)),
        ("ASF, streamed", asf(true)),
        ("WAVE, streamed", streamed_wave()),
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
        ("MP3", mp3(Some(5))),
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
    let more = [
        mkv(true),
        mp3(Some(3)),
        program_stream(true),
        pdf(),
        fragmented(true),
        rf64(),
        ogg(true),
        flac(true),
        asf(false),
        m2ts(),
        adts(),
    ];
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
