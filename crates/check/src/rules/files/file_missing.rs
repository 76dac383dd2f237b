//! See the rule's documentation below.

use obvert_model::tables::MediaState;

use crate::files::FileOf;
use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The file of a media row is not in the folder, and its `state` is not `lost`.
    ///
    /// # Why it matters
    /// A photo or film that is not delivered is the commonest reason to send a delivery back.
    ///
    /// # Fails
    /// At `/media/0/file`:
    /// ```json
    /// [{"op": "remove", "path": "/files/photos~1lm014_001.jpg"}]
    /// ```
    ///
    /// # Passes
    /// The row states that it is lost.
    /// ```json
    /// [{"op": "remove", "path": "/files/photos~1lm014_001.jpg"},
    ///  {"op": "replace", "path": "/media/0/state", "value": "lost"}]
    /// ```
    /// In other case (`file-name-case`).
    /// ```json
    /// [{"op": "move", "from": "/files/photos~1lm014_001.jpg", "path": "/files/photos~1LM014_001.JPG"}]
    /// ```
    ///
    /// # Fix
    /// Copy the file to its place. If there is no copy left, set `state` to `lost`.
    name: "file-missing", severity: Error, scope: Media, since: "0.2", clause: "media#files",
    needs: [Files],
    facts: {
        "file" = Text "the path of the file, as recorded",
    },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    if view.media.state == Some(MediaState::Lost) || view.file() != Some(FileOf::Missing) {
        return;
    }
    let name = view.media.file.as_str();
    out.report(view.subject("/file"), format!("{name:?} is not there")).fact("file", name);
}
