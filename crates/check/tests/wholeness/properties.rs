//! No bytes make the examination fail or run on, and no beginning of a file is whole.

use proptest::collection::vec;
use proptest::prelude::*;

use super::*;

fn files() -> Vec<Vec<u8>> {
    vec![
        jpeg(),
        png(),
        gif(),
        bmp(),
        tiff(false),
        tiff(true),
        riff(b"WEBP", &[chunk(b"VP8 ", b"picture...")]),
        wave(true),
        rf64(),
        avi(true, 0x10),
        mp4(false),
        mp4(true),
        fragmented(true),
        heic(),
        mkv(true),
        mkv(false),
        mp3(Some(3)),
        adts(),
        ogg(true),
        flac(true),
        asf(false),
        m2ts(),
        transport_stream(),
        program_stream(true),
        pdf(),
    ]
}

proptest! {
    #[test]
    fn mutated_files_are_examined(
        which in 0..25usize,
        changes in vec((any::<prop::sample::Index>(), any::<u8>()), 0..6),
        moved in any::<(prop::sample::Index, prop::sample::Index, bool)>(),
        cut in any::<prop::sample::Index>(),
    ) {
        let mut file = files().swap_remove(which);
        for (at, value) in changes {
            let at = at.index(file.len());
            file[at] = value;
        }
        let (from, to, twice) = moved;
        if twice {
            let (from, to) = (from.index(file.len()), to.index(file.len()));
            let part = file[from.min(to)..from.max(to)].to_vec();
            file.splice(to..to, part);
        }
        let _ = told(&file);
        let _ = told(&file[..cut.index(file.len())]);
    }

    #[test]
    fn any_bytes_behind_a_signature_are_examined(
        which in 0..25usize,
        kept in 4..64usize,
        bytes in vec(any::<u8>(), 0..400),
    ) {
        let mut file = files().swap_remove(which);
        file.truncate(kept);
        file.extend(bytes);
        let _ = told(&file);
    }

    /// Whatever the picture, the film or the sound holds.
    #[test]
    fn no_beginning_is_whole(
        content in vec(any::<u8>(), 1..120),
        cut in any::<prop::sample::Index>(),
    ) {
        let even = content.len() - content.len() % 2;
        let scan: Vec<u8> = content.iter().flat_map(|byte| match byte {
            0xFF => vec![0xFF, 0],
            byte => vec![*byte],
        }).collect();
        let mut picture = jpeg();
        let end = picture.len() - 3;
        picture.splice(end..end, scan);
        let header = chunk(b"fmt ", &[0; 16]);
        let files = [
            picture,
            riff(b"WAVE", &[header, chunk(b"data", &content[..even])]),
            riff(b"WEBP", &[chunk(b"VP8 ", &content[..even])]),
            [
                boxed(b"ftyp", b"isom\0\0\0\0"),
                boxed(b"mdat", &content),
                mp4(false)[16 + 24..].to_vec(),
            ]
            .concat(),
        ];
        for file in files {
            if file.len() > 1 {
                let cut = cut.index(file.len());
                prop_assert_ne!(verdict(&file[..cut]), Wholeness::Whole);
            }
        }
    }
}
