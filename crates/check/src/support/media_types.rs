//! Detects the type of a media file from its first bytes, to compare it with the type in its row.

use obvert_model::tables::{Media, MediaKind};

/// How many first bytes are needed.
pub(crate) const HEAD: usize = 4096;

/// Whether a kind of media can have a type. Scans and documents can have many.
pub(crate) fn fits(kind: MediaKind, media_type: &str) -> bool {
    match kind {
        MediaKind::Photo => media_type.starts_with("image/"),
        MediaKind::Video | MediaKind::IntervalVideo => media_type.starts_with("video/"),
        MediaKind::Audio => media_type.starts_with("audio/"),
        MediaKind::Document => {
            !media_type.starts_with("video/") && !media_type.starts_with("audio/")
        }
        MediaKind::Scan => !media_type.starts_with("audio/"),
        _ => true,
    }
}

/// Whether a media file has no time: a photo, a document, or a scan that is not a video.
pub(crate) fn is_still(media: &Media) -> bool {
    match media.kind {
        MediaKind::Photo | MediaKind::Document => true,
        MediaKind::Scan => media
            .media_type
            .as_ref()
            .is_none_or(|media_type| !media_type.to_ascii_lowercase().starts_with("video/")),
        _ => false,
    }
}

/// File extensions and the media types that go with them.
pub(crate) const EXTENSIONS: &[(&str, &[&str])] = &[
    ("jpg", &["image/jpeg"]),
    ("jpeg", &["image/jpeg"]),
    ("png", &["image/png"]),
    ("tif", &["image/tiff"]),
    ("tiff", &["image/tiff"]),
    ("bmp", &["image/bmp"]),
    ("webp", &["image/webp"]),
    ("mp4", &["video/mp4", "audio/mp4"]),
    ("m4v", &["video/mp4", "video/x-m4v"]),
    ("mpg", &["video/mpeg"]),
    ("mpeg", &["video/mpeg"]),
    ("avi", &["video/x-msvideo", "video/vnd.avi"]),
    ("mov", &["video/quicktime"]),
    ("mkv", &["video/matroska", "video/x-matroska"]),
    ("webm", &["video/webm", "audio/webm"]),
    ("wmv", &["video/x-ms-wmv"]),
    ("wav", &["audio/wav", "audio/x-wav", "audio/vnd.wave"]),
    ("mp3", &["audio/mpeg"]),
    ("m4a", &["audio/mp4", "audio/x-m4a"]),
    ("pdf", &["application/pdf"]),
];

/// The extension of a path in lower case; empty if the name has no dot.
pub(crate) fn extension_of(path: &str) -> String {
    let name = path.rsplit('/').next().unwrap_or_default();
    name.rsplit_once('.').map_or("", |(_, extension)| extension).to_ascii_lowercase()
}

/// The media types that go with the extension of a path, if it is a known one.
pub(crate) fn types_of_extension(path: &str) -> Option<&'static [&'static str]> {
    let extension = extension_of(path);
    EXTENSIONS.iter().find(|(known, _)| *known == extension).map(|(_, types)| *types)
}

/// Names of the same type: the one registered with IANA first, then others in use.
const SAME: &[&[&str]] = &[
    &["image/jpeg", "image/jpg", "image/pjpeg"],
    &["image/bmp", "image/x-bmp", "image/x-ms-bmp"],
    &["video/vnd.avi", "video/x-msvideo", "video/avi", "video/msvideo"],
    &["audio/vnd.wave", "audio/wav", "audio/x-wav", "audio/wave"],
    &["video/mp4", "audio/mp4", "video/x-m4v", "audio/x-m4a", "application/mp4"],
    &["video/matroska", "video/x-matroska", "audio/matroska", "audio/x-matroska"],
    &["video/webm", "audio/webm"],
    &["video/mpeg", "video/mp2p", "video/x-mpeg"],
    &["audio/mpeg", "audio/mp3"],
];

/// Whether two names mean the same type, or types that the first bytes do not distinguish: a
/// recording with and without pictures.
pub(crate) fn same_type(one: &str, other: &str) -> bool {
    one.eq_ignore_ascii_case(other)
        || SAME.iter().any(|names| {
            let has = |name: &str| names.iter().any(|known| known.eq_ignore_ascii_case(name));
            has(one) && has(other)
        })
}

/// The media type of a file by its first bytes; `None` if they do not show it.
///
/// The signatures are those of the formats' own specifications: PNG (ISO/IEC 15948, 5.2), JPEG
/// (ITU-T T.81, B.1.1.3), TIFF (TIFF 6.0, section 2), WebP (RFC 9649), BMP (RFC 7903), PDF (ISO
/// 32000-1, 7.5.2), ISO base media files and MP4 (ISO/IEC 14496-12, 4.3), MPEG program streams and
/// MPEG video (ISO/IEC 13818-1 and -2), transport streams (ISO/IEC 13818-1, 2.4.3), Matroska and
/// WebM (RFC 8794, RFC 9559), ID3 before MPEG audio (RFC 3003), RIFF as AVI and as WAVE (RFC 2361).
/// Brands of ISO base media files are those of the MP4 registration authority. All from memory.
#[must_use]
pub(crate) fn type_of(head: &[u8]) -> Option<&'static str> {
    let at = |offset: usize, bytes: &[u8]| head.get(offset..offset + bytes.len()) == Some(bytes);
    let holds = |bytes: &[u8]| {
        head[..head.len().min(64)].windows(bytes.len()).any(|window| window == bytes)
    };
    Some(match head {
        [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1A, b'\n', ..] => "image/png",
        [0xFF, 0xD8, 0xFF, ..] => "image/jpeg",
        [b'G', b'I', b'F', b'8', b'7' | b'9', b'a', ..] => "image/gif",
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => "image/tiff",
        [b'R', b'I', b'F', b'F', ..] if at(8, b"WEBP") => "image/webp",
        [b'R', b'I', b'F', b'F', ..] if at(8, b"AVI ") => "video/vnd.avi",
        [b'R', b'I', b'F', b'F', ..] if at(8, b"WAVE") => "audio/vnd.wave",
        // Two letters are weak evidence, so the reserved zero bytes are required as well.
        [b'B', b'M', ..] if at(6, &[0; 4]) => "image/bmp",
        [b'%', b'P', b'D', b'F', b'-', ..] => "application/pdf",
        [0, 0, 1, 0xBA | 0xB3, ..] => "video/mpeg",
        [0x1A, 0x45, 0xDF, 0xA3, ..] if holds(b"webm") => "video/webm",
        [0x1A, 0x45, 0xDF, 0xA3, ..] if holds(b"matroska") => "video/matroska",
        [b'I', b'D', b'3', ..] => "audio/mpeg",
        [0x47, ..] if at(188, &[0x47]) && at(376, &[0x47]) => "video/mp2t",
        _ if at(4, b"ftyp") => match head.get(8..12)? {
            b"qt  " => "video/quicktime",
            b"M4A " | b"M4B " => "audio/mp4",
            b"heic" | b"heix" => "image/heic",
            b"avif" => "image/avif",
            b"isom" | b"iso2" | b"iso4" | b"iso5" | b"iso6" | b"mp41" | b"mp42" | b"avc1"
            | b"M4V " | b"MSNV" => "video/mp4",
            _ => return None,
        },
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::{same_type, type_of};

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
        assert!(
            same_type("video/x-msvideo", "VIDEO/VND.AVI") && !same_type("image/png", "image/jpeg")
        );
    }
}
