//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::media_types::{fits, same_type, types_of_extension};
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The content of a file is not what its type, its extension or its kind state.
    ///
    /// # Exactly
    /// Compared is `type`; without it, the types of the extension (`media-type-contradicts`);
    /// without both, whether the kind can have the type of the content.
    ///
    /// # Why it matters
    /// Programs choose by the name what they open a file with: a picture of another type is not
    /// shown.
    ///
    /// # Fails
    /// A PNG with the name of a JPEG. At `/media/0/type`:
    /// ```json
    /// [{"op": "replace", "path": "/files/photos~1lm014_001.jpg/type", "value": "image/png"}]
    /// ```
    /// Without a type in the row, at `/media/0/file`:
    /// ```json
    /// [{"op": "remove", "path": "/media/0/type"},
    ///  {"op": "replace", "path": "/files/photos~1lm014_001.jpg/type", "value": "image/png"}]
    /// ```
    /// A film in place of a photo. At `/media/0/type`:
    /// ```json
    /// [{"op": "replace", "path": "/files/photos~1lm014_001.jpg/type", "value": "video/mp4"}]
    /// ```
    ///
    /// # Passes
    /// Other names of one type.
    /// ```json
    /// [{"op": "replace", "path": "/media/0/type", "value": "image/jpg"}]
    /// ```
    /// The content does not show its type.
    /// ```json
    /// [{"op": "remove", "path": "/files/photos~1lm014_001.jpg/type"}]
    /// ```
    ///
    /// # Fix
    /// Rename the file, or look for the one that belongs to the row; then correct `type`.
    name: "file-type-contradicts", severity: Error, scope: Media, since: "0.2", clause: "media#files",
    needs: [Files],
    facts: {
        "type" = Text "the media type of the content",
    },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let Some(file) = view.readable_file() else { return };
    let Some(actual) = file.media_type.as_deref() else { return };
    let media = view.media;
    let (field, stated) = match &media.media_type {
        Some(stated) => ("/type", vec![stated.as_str()]),
        None => ("/file", types_of_extension(&media.file).unwrap_or_default().to_vec()),
    };
    let contradicts = !stated.is_empty() && !stated.iter().any(|one| same_type(one, actual));
    // A recording without pictures may be called a video.
    let kind = stated.is_empty() && !fits(media.kind, actual);
    if !contradicts && !kind {
        return;
    }
    let message = match stated.as_slice() {
        [] => format!("the content is {actual}, but the kind is {:?}", media.kind.as_str()),
        stated => format!("the content is {actual}, not {}", stated.join(" or ")),
    };
    out.report(view.subject(field), message).fact("type", actual);
}
