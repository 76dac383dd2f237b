//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::media_types::{extension_of, fits, types_of_extension};
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The kind of a media file, its media type and its file extension contradict each other.
    ///
    /// # Exceptions
    /// - The extension is not in the list below: only kind and type are compared.
    ///
    /// # Exactly
    /// Kind and type: a `photo` is `image/…`, a `video` or `interval-video` is `video/…`, an
    /// `audio` is `audio/…`; a `document` is neither `video/…` nor `audio/…`, a `scan` not
    /// `audio/…`. Extensions, ignoring case: jpg, jpeg: image/jpeg; png: image/png; tif, tiff:
    /// image/tiff; bmp: image/bmp; webp: image/webp; mp4: video/mp4 or audio/mp4; m4v: video/mp4 or
    /// video/x-m4v; mpg, mpeg: video/mpeg; avi: video/x-msvideo or video/vnd.avi; mov:
    /// video/quicktime; mkv: video/matroska or video/x-matroska; webm: video/webm or audio/webm;
    /// wmv: video/x-ms-wmv; wav: audio/wav, audio/x-wav or audio/vnd.wave; mp3: audio/mpeg; m4a:
    /// audio/mp4 or audio/x-m4a; pdf: application/pdf. The extension is what follows the last dot
    /// of the file name; a name without a dot has none.
    ///
    /// With `type`, the finding is at `type` if it does not go with the kind, otherwise at `file`
    /// if it does not go with the extension. Without, it is at `file` if no type of the extension
    /// goes with the kind.
    ///
    /// # Why it matters
    /// A file that is not what its row states is not shown; most often the row refers to the wrong
    /// file.
    ///
    /// # Source
    /// Media types: IANA. Extensions: common practice.
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
    /// A name without a dot has no extension.
    /// ```json
    /// [{"op": "replace", "path": "/media/1/file", "value": "videos/jpg"}]
    /// ```
    ///
    /// # Fix
    /// Correct the kind, the type or the name, whichever does not match the file.
    name: "media-type-contradicts", severity: Warning, scope: Media, since: "0.1", clause: "media#kind-and-type",
    facts: { "type" = Text "the type, as recorded but in lower case" if "one is recorded" },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let media = view.media;
    let extension = extension_of(&media.file);
    let types = types_of_extension(&media.file);
    let by_extension = |types: &[&str]| {
        format!("a file with the extension .{extension} is {}", types.join(" or "))
    };
    let kind = media.kind.as_str();
    let Some(stated) = media.media_type.as_ref().map(|stated| stated.to_ascii_lowercase()) else {
        let Some(types) = types else { return };
        if !types.iter().any(|one| fits(media.kind, one)) {
            let message = format!("{}, but the kind is {kind:?}", by_extension(types));
            out.report(view.subject("/file"), message);
        }
        return;
    };
    if !fits(media.kind, &stated) {
        let message = format!("the kind is {kind:?}, but the type is {stated:?}");
        out.report(view.subject("/type"), message).fact("type", stated);
    } else if let Some(types) = types.filter(|types| !types.contains(&stated.as_str())) {
        let message = format!("{}, but the type is {stated:?}", by_extension(types));
        out.report(view.subject("/file"), message).fact("type", stated);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rule::Section;
    use crate::support::media_types::EXTENSIONS;

    /// The documentation lists what the code compares.
    #[test]
    fn the_text_has_every_extension() {
        let text = RULE.section(Section::Exactly).replace('\n', " ");
        for (extension, types) in EXTENSIONS {
            let listed =
                text.split([' ', ',']).any(|word| word.trim_end_matches(':') == *extension);
            assert!(listed && types.iter().all(|one| text.contains(one)), "{extension} {types:?}");
        }
    }
}
