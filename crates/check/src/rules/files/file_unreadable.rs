//! See the rule's documentation below.

use crate::files::FileOf;
use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The file of a media row is there but cannot be read, or must not: a link that leads out of
    /// the folder, a folder, a device, a file without permission.
    ///
    /// # Why it matters
    /// The office that receives the delivery cannot open it either.
    ///
    /// # Fails
    /// At `/media/0/file`:
    /// ```json
    /// [{"op": "add", "path": "/files/photos~1lm014_001.jpg/unreadable", "value": "it is a folder"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// []
    /// ```
    ///
    /// # Fix
    /// Put the file itself in its place, and allow it to be read.
    name: "file-unreadable", severity: Error, scope: Media, since: "0.2", clause: "media#files",
    needs: [Files],
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let Some(FileOf::Found(file) | FileOf::OtherCase(_, file)) = view.file() else { return };
    let Some(why) = &file.unreadable else { return };
    let message = format!("{:?} was not read: {why}", view.media.file.as_str());
    out.report(view.subject("/file"), message);
}
