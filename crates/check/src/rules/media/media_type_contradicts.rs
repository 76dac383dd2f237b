//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::media_types::fits;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The kind of a media file, its media type and the ending of its name say the same: a photo is an image, `.jpg` is
    /// `image/jpeg`. Endings that are not known here pass.
    ///
    /// # Exactly
    /// Kind and type: a `photo` is `image/…`, a `video` or `interval-video` is `video/…`, an `audio` is `audio/…`; a
    /// `document` is neither `video/…` nor `audio/…`, a `scan` not `audio/…`. Endings, whatever their case: jpg, jpeg:
    /// image/jpeg; png: image/png; tif, tiff: image/tiff; bmp: image/bmp; webp: image/webp; mp4: video/mp4 or audio/mp4;
    /// m4v: video/mp4 or video/x-m4v; mpg, mpeg: video/mpeg; avi: video/x-msvideo or video/vnd.avi; mov: video/quicktime;
    /// mkv: video/matroska or video/x-matroska; webm: video/webm or audio/webm; wmv: video/x-ms-wmv; wav: audio/wav,
    /// audio/x-wav or audio/vnd.wave; mp3: audio/mpeg; m4a: audio/mp4 or audio/x-m4a; pdf: application/pdf.
    ///
    /// With `type`: the finding is at `type` where it does not go with the kind, else at `file` where it does not go with
    /// the ending. Without: at `file` where no type of the ending goes with the kind.
    ///
    /// # Why it matters
    /// A file that is not what its row says is not shown, or shown by the wrong program; most often the row refers to the
    /// wrong file.
    ///
    /// # Source
    /// Media types as registered with IANA; the endings are common practice.
    ///
    /// # Fails
    /// At `/media/0/type`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/type", "value": "video/mp4"}]
    /// ```
    /// At `/media/0/file`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/file", "value": "photos/lm014_001.png"}]
    /// ```
    /// Without a type, at `/media/1/file`:
    /// ```json
    /// [{"op": "remove", "path": "/media/1/type"},
    ///  {"op": "replace", "path": "/media/1/file", "value": "videos/r101.jpg"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/media/0/file", "value": "photos/lm014_001.JPEG"}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/media/0/file", "value": "photos/lm014_001.raw"},
    ///  {"op": "replace", "path": "/media/0/type", "value": "image/x-raw"}]
    /// ```
    ///
    /// # Fix
    /// Correct the kind, the type, or the name, whichever is not what the file is.
    name: "media-type-contradicts", severity: Warning, scope: Media, since: "0.1", clause: "media#kind-and-type",
    facts: { "type" = Text "the type, as recorded but in lower case" if "one is recorded" },
}

/// Endings and the media types that go with them.
const ENDINGS: &[(&str, &[&str])] = &[
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

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let media = view.media;
    let ending = media.file.rsplit(['.', '/']).next().unwrap_or_default().to_ascii_lowercase();
    let known = ENDINGS.iter().find(|(known, _)| *known == ending).map(|(_, types)| *types);
    match &media.media_type {
        Some(stated) => {
            let stated = stated.to_ascii_lowercase();
            if !fits(media.kind, &stated) {
                out.report(view.subject("/type"), format!("a {} is not of type {stated}", media.kind))
                    .fact("type", stated);
            } else if let Some(types) = known.filter(|types| !types.contains(&stated.as_str())) {
                let message = format!(
                    "a file that ends in .{ending} is {}, but its type is stated as {stated}",
                    types.join(" or ")
                );
                out.report(view.subject("/file"), message).fact("type", stated);
            }
        }
        None => {
            if let Some(types) = known.filter(|types| !types.iter().any(|one| fits(media.kind, one))) {
                out.report(
                    view.subject("/file"),
                    format!("a file that ends in .{ending} is {}, not a {}", types.join(" or "), media.kind),
                );
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rule::Section;

    /// What the rule says of itself is what it goes by.
    #[test]
    fn the_text_has_every_number() {
        let text = RULE.section(Section::Exactly).replace('\n', " ");
        for (ending, types) in ENDINGS {
            let after = text.split([' ', ',']).any(|word| word.trim_end_matches(':') == *ending);
            assert!(after && types.iter().all(|one| text.contains(one)), "{ending} {types:?}");
        }
    }
}
