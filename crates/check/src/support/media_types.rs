//! Compares the kind and the type that a row of a media file states with the type of the file.

use obvert_model::tables::{Media, MediaKind};

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

/// Further extensions of media files, which no rule compares with a type.
const MORE_EXTENSIONS: [&str; 8] = ["gif", "heic", "ts", "m2ts", "vob", "3gp", "aac", "flac"];

/// Whether a path has the extension of a picture or a recording.
pub(crate) fn has_media_name(path: &str) -> bool {
    let extension = extension_of(path);
    MORE_EXTENSIONS.contains(&extension.as_str())
        || types_of_extension(path).is_some_and(|types| types != ["application/pdf"])
}

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
    &["audio/aac", "audio/aacp", "audio/x-aac"],
    &["audio/flac", "audio/x-flac"],
    &["audio/ogg", "video/ogg", "application/ogg"],
    &["video/3gpp", "audio/3gpp"],
    &["video/x-ms-asf", "video/x-ms-wmv", "audio/x-ms-wma", "application/vnd.ms-asf"],
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

#[cfg(test)]
mod tests {
    use super::same_type;

    #[test]
    fn types_have_several_names() {
        assert!(same_type("video/x-msvideo", "VIDEO/VND.AVI"));
        assert!(!same_type("image/png", "image/jpeg"));
    }
}
