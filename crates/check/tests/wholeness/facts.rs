//! What files say about themselves.

use super::*;

fn near(found: Option<f64>, wanted: f64) -> bool {
    found.is_some_and(|found| (found - wanted).abs() < 1e-6)
}

/// An index of a film: 320 by 240, 50 pictures in two seconds, made in 2026.
fn index(fragments: bool) -> Vec<u8> {
    // 2026-05-17T09:41:03Z, counted from 1904.
    let created = 3_861_855_663;
    // Turned by a quarter.
    let turn = [0, 1 << 16, 0, 0xFFFF_0000, 0, 0, 0, 0, 1 << 30];
    let track_head = [&[0, 0, 0, 1, 0, 0, 0, 0, 0, 0][..], &turn, &[0, 0]].concat();
    let head = full(b"mvhd", &[0, created, created, 1000, 2000]);
    let media = full(b"mdhd", &[0, created, created, 12_800, 25_600, 0]);
    let handler = boxed(b"hdlr", b"\0\0\0\0\0\0\0\0vide\0\0\0\0\0\0\0\0\0\0\0\0");
    let mut entry = vec![0; 36];
    entry[32..36].copy_from_slice(b"\x01\x40\0\xF0");
    let entry = [longs(&[0, 1]), entry].concat();
    let times = if fragments { longs(&[0, 0]) } else { longs(&[0, 1, 50, 512]) };
    let tables = [boxed(b"stsd", &entry), boxed(b"stts", &times)].concat();
    let parts = [media, handler, boxed(b"minf", &boxed(b"stbl", &tables))].concat();
    let track = [full(b"tkhd", &track_head), boxed(b"mdia", &parts)].concat();
    let mut content = [head, boxed(b"trak", &track)].concat();
    if fragments {
        content.extend(boxed(b"mvex", &full(b"trex", &[0, 1, 1, 512, 0, 0])));
    }
    boxed(b"moov", &content)
}

#[test]
fn films_in_boxes_state_times_and_sizes() {
    let start = boxed(b"ftyp", b"isom\0\0\0\0");
    let facts = told(&[start.clone(), index(false)].concat());
    assert_eq!((facts.media_type, facts.pixels), (Some("video/mp4"), Some([320, 240])));
    assert!(near(facts.duration, 2.0) && near(facts.frame_rate, 25.0), "{facts:?}");
    assert_eq!(facts.orientation, Some(6));
    let captured = facts.captured.unwrap();
    assert_eq!(captured.at.to_string(), "2026-05-17T09:41:03");
    assert_eq!(captured.offset.unwrap().seconds(), 0);
    // Samples of the usual duration, and then samples that state theirs.
    let header = full(b"tfhd", &[0, 1]);
    let runs = [full(b"trun", &[0, 20]), full(b"trun", &[0x100, 2, 512, 1024])].concat();
    let fragment = boxed(b"moof", &boxed(b"traf", &[header, runs].concat()));
    let data = boxed(b"mdat", b"pictures");
    let facts =
        told(&[start, index(true), fragment.clone(), data.clone(), fragment, data].concat());
    assert!(near(facts.duration, 46.0 * 512.0 / 12_800.0), "{facts:?}");
    assert!(matches!(facts.whole, Wholeness::CannotTell { .. }));
}

/// A JPEG with a block of Exif.
fn with_exif(block: &[u8]) -> Vec<u8> {
    let mut file = jpeg();
    let block = [b"Exif\0\0".to_vec(), block.to_vec()].concat();
    let length = u16::try_from(block.len() + 2).unwrap().to_be_bytes();
    let segment = [b"\xFF\xE1".to_vec(), length.to_vec(), block].concat();
    file.splice(2..2, segment);
    file
}

#[test]
fn pictures_state_their_size_and_how_they_were_taken() {
    for big in [false, true] {
        let facts = told(&with_exif(&exif(big)));
        assert_eq!(facts.whole, Wholeness::Whole);
        assert_eq!((facts.orientation, facts.pixels), (Some(6), Some([8, 8])));
        assert_eq!(facts.turned(), Some(90));
        let captured = facts.captured.unwrap();
        assert_eq!(captured.at.to_string(), "2026-05-17T09:41:03");
        assert_eq!(captured.offset.unwrap().seconds(), 7200);
    }
    let facts = told(&png());
    assert_eq!((facts.pixels, facts.media_type), (Some([1, 1]), Some("image/png")));
    assert_eq!(told(&gif()).pixels, Some([2, 1]));
    // Cut in the middle of its blocks: what was read holds.
    assert_eq!(told(&gif()[..30]).pixels, Some([2, 1]));
}

/// Exif that is wrong does not make a picture wrong.
#[test]
fn broken_exif_is_left_out() {
    let block = exif(false);
    for length in 0..block.len() {
        let facts = told(&with_exif(&block[..length]));
        assert_eq!(facts.whole, Wholeness::Whole, "{length}");
        assert!(length < 38 || facts.orientation == Some(6), "{length}");
        assert!(length >= 88 || facts.captured.is_none(), "{length}");
    }
    let mut unset = block;
    unset[68..87].copy_from_slice(b"0000:00:00 00:00:00");
    let facts = told(&with_exif(&unset));
    assert_eq!((facts.captured, facts.orientation), (None, Some(6)));
}

#[test]
fn sound_states_how_long_it_lasts() {
    assert!(near(told(&wave(true)).duration, 10.0 / 8000.0));
    assert!(near(told(&rf64()).duration, 10.0 / 8000.0));
    assert!(near(told(&mp3(Some(3))).duration, 3.0 * 1152.0 / 48_000.0));
    assert!(near(told(&adts()).duration, 3.0 * 1024.0 / 44_100.0));
    assert!(near(told(&flac(true)).duration, 384.0 / 48_000.0));
    assert!(near(told(&ogg(true)).duration, 1.0));
    let types = [wave(true), mp3(None), adts(), flac(true), ogg(true)];
    let types = types.map(|file| told(&file).media_type.unwrap());
    assert_eq!(types, ["audio/vnd.wave", "audio/mpeg", "audio/aac", "audio/flac", "audio/ogg"]);
}

#[test]
fn matroska_states_its_length_and_its_pictures() {
    let info = element(
        b"\x15\x49\xA9\x66",
        &[
            element(b"\x2A\xD7\xB1", b"\x0F\x42\x40"),
            element(b"\x44\x89", &1500f64.to_be_bytes()),
            element(b"\x44\x61", &(86_400_000_000_000i64).to_be_bytes()),
        ]
        .concat(),
    );
    let video =
        element(b"\xE0", &[element(b"\xB0", b"\x01\x40"), element(b"\xBA", b"\xF0")].concat());
    let rate = element(b"\x23\xE3\x83", b"\x02\x62\x5A\x00");
    let track = element(b"\xAE", &[element(b"\x83", b"\x01"), rate, video].concat());
    let tracks = element(b"\x16\x54\xAE\x6B", &track);
    let cluster = element(b"\x1F\x43\xB6\x75", &element(b"\xA3", b"pictures"));
    let mut file = element(b"\x1A\x45\xDF\xA3", &element(b"\x42\x82", b"matroska"));
    file.extend(element(b"\x18\x53\x80\x67", &[info, tracks, cluster].concat()));
    let facts = told(&file);
    assert_eq!((facts.whole.clone(), facts.pixels), (Wholeness::Whole, Some([320, 240])));
    assert!(near(facts.duration, 1.5) && near(facts.frame_rate, 25.0), "{facts:?}");
    assert_eq!(facts.captured.unwrap().at.to_string(), "2001-01-02T00:00:00");
}

#[test]
fn asf_states_its_length_without_the_pause_before_it() {
    let facts = told(&asf(false));
    assert_eq!(facts.pixels, Some([320, 240]));
    assert!(near(facts.duration, 4.0), "{facts:?}");
}

#[test]
fn streams_last_from_their_first_packet_to_the_end_of_their_last() {
    let facts = told(&m2ts());
    assert!(near(facts.duration, 0.2) && near(facts.frame_rate, 25.0), "{facts:?}");
    let stream = |times: &[f64]| {
        let mut file = b"\0\0\x01\xBA\x44\0\x04\0\x04\x01\0\0\x03\xF8".to_vec();
        let header = b"\0\0\x01\xB3\x14\0\xF0\x13rest of it";
        for time in times {
            file.extend(packet(0xE0, *time, header));
            file.extend(packet(0xC0, time + 0.01, b"sound"));
        }
        told(&file)
    };
    let facts = stream(&[1.0, 1.08, 1.04, 1.12]);
    assert_eq!(facts.pixels, Some([320, 240]));
    assert!(near(facts.duration, 0.16) && near(facts.frame_rate, 25.0), "{facts:?}");
    assert!(near(facts.sound, 0.16), "{facts:?}");
    // The clock of 33 bits begins anew.
    let end = f64::from(1 << 17) / 90_000.0 * f64::from(1 << 16);
    assert!(near(stream(&[end - 0.04, end, end + 0.04]).duration, 0.12));
    // Two recordings in one file do not last as long as the pause between them.
    assert_eq!(stream(&[1.0, 1.04, 500.0, 500.04]).duration, None);
}
