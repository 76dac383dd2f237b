//! Detects the type of a media file from its first bytes.

/// How many first bytes are needed.
pub(crate) const HEAD: usize = 4096;

/// The media type of a file by its first bytes, of which 4,096 are enough; `None` if they do not
/// show it.
///
/// The signatures are those of the formats' own specifications: PNG (ISO/IEC 15948, 5.2), JPEG
/// (ITU-T T.81, B.1.1.3), TIFF (TIFF 6.0, section 2), WebP (RFC 9649), BMP (RFC 7903), PDF (ISO
/// 32000-1, 7.5.2), ISO base media files and MP4 (ISO/IEC 14496-12, 4.3), MPEG program streams and
/// MPEG video (ISO/IEC 13818-1 and -2), transport streams (ISO/IEC 13818-1, 2.4.3), Matroska and
/// WebM (RFC 8794, RFC 9559), ID3 before MPEG audio (RFC 3003), RIFF as AVI and as WAVE (RFC 2361),
/// Ogg (RFC 3533), FLAC (RFC 9639), AAC in ADTS (ISO/IEC 13818-7, 6.2), ASF (Microsoft, revision
/// 01.20.05).
/// Brands of ISO base media files are those of the MP4 registration authority. All from memory.
#[must_use]
pub fn type_of(head: &[u8]) -> Option<&'static str> {
    let at = |offset: usize, bytes: &[u8]| head.get(offset..offset + bytes.len()) == Some(bytes);
    let holds = |bytes: &[u8]| {
        head[..head.len().min(64)].windows(bytes.len()).any(|window| window == bytes)
    };
    Some(match head {
        [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1A, b'\n', ..] => "image/png",
        [0xFF, 0xD8, 0xFF, ..] => "image/jpeg",
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => "image/tiff",
        [b'R', b'I', b'F', b'F', ..] if at(8, b"WEBP") => "image/webp",
        [b'R', b'I', b'F', b'F', ..] if at(8, b"AVI ") => "video/vnd.avi",
        [b'R', b'I', b'F', b'F', ..] if at(8, b"WAVE") => "audio/vnd.wave",
        // Two letters are weak evidence, so the reserved zero bytes are required as well.
        [b'B', b'M', ..] if at(6, &[0; 4]) => "image/bmp",
        [b'G', b'I', b'F', b'8', b'7' | b'9', b'a', ..] => "image/gif",
        [b'%', b'P', b'D', b'F', b'-', ..] => "application/pdf",
        [0, 0, 1, 0xBA | 0xB3, ..] => "video/mpeg",
        [0x1A, 0x45, 0xDF, 0xA3, ..] if holds(b"webm") => "video/webm",
        [0x1A, 0x45, 0xDF, 0xA3, ..] if holds(b"matroska") => "video/matroska",
        [b'I', b'D', b'3', ..] => "audio/mpeg",
        [b'O', b'g', b'g', b'S', ..] => "application/ogg",
        [b'f', b'L', b'a', b'C', ..] => "audio/flac",
        [0x30, 0x26, 0xB2, 0x75, 0x8E, 0x66, 0xCF, 0x11, ..] => "video/x-ms-asf",
        [0x47, ..] if at(188, &[0x47]) && at(376, &[0x47]) => "video/mp2t",
        // With the times at which a recorder received the packets.
        _ if at(4, &[0x47]) && at(196, &[0x47]) && at(388, &[0x47]) => "video/mp2t",
        [b'R', b'F', b'6', b'4', ..] if at(8, b"WAVE") => "audio/vnd.wave",
        _ if at(4, b"ftyp") => match head.get(8..12)? {
            b"qt  " => "video/quicktime",
            b"M4A " | b"M4B " => "audio/mp4",
            b"heic" | b"heix" => "image/heic",
            [b'3', b'g', b'p' | b'2' | b'g' | b's' | b'r', _] => "video/3gpp",
            b"avif" | b"avis" => "image/avif",
            b"isom" | b"iso2" | b"iso4" | b"iso5" | b"iso6" | b"mp41" | b"mp42" | b"avc1"
            | b"M4V " | b"MSNV" | b"dash" | b"iso3" | b"iso7" | b"iso8" | b"iso9" => "video/mp4",
            _ => return None,
        },
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::type_of;

    #[test]
    fn types_are_detected_from_first_bytes() {
        let mut stream = vec![0; 400];
        (stream[0], stream[188], stream[376]) = (0x47, 0x47, 0x47);
        let cases: [(&[u8], Option<&str>); 16] = [
            (b"\xFF\xD8\xFF\xE0\0\x10JFIF", Some("image/jpeg")),
            (b"\x89PNG\r\n\x1A\n\0\0\0\rIHDR", Some("image/png")),
            (b"MM\0\x2A\0\0\0\x08", Some("image/tiff")),
            (b"RIFF\x24\0\0\0WEBPVP8 ", Some("image/webp")),
            (b"RIFF\x24\0\0\0AVI LIST", Some("video/vnd.avi")),
            (b"RIFF\x24\0\0\0WAVEfmt ", Some("audio/vnd.wave")),
            (b"RIFF\x24\0\0\0ACON", None),
            (b"\0\0\0\x18ftypmp42\0\0\0\0", Some("video/mp4")),
            (b"\0\0\0\x14ftypqt  \0\0\0\0", Some("video/quicktime")),
            (b"\0\0\0\x14ftypzzzz\0\0\0\0", None),
            (b"\0\0\x01\xBA\x44", Some("video/mpeg")),
            (b"%PDF-1.7\n", Some("application/pdf")),
            (b"BMW is a car", None),
            (b"BM\x3A\0\0\0\0\0\0\0\x36", Some("image/bmp")),
            (&stream, Some("video/mp2t")),
            (b"", None),
        ];
        for (head, wanted) in cases {
            assert_eq!(type_of(head), wanted, "{head:?}");
        }
    }
}
