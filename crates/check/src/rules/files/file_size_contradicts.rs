//! See the rule's documentation below.

use obvert_model::tables::MediaState;

use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The size of a file is not that in its row.
    ///
    /// # Exactly
    /// A file whose row has the state `truncated` is not compared.
    ///
    /// # Why it matters
    /// The file is not the one that was recorded: it was exchanged, changed or cut off.
    ///
    /// # Fails
    /// At `/media/0/bytes`:
    /// ```json
    /// [{"op": "add", "path": "/media/0/bytes", "value": 48212}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/media/0/bytes", "value": 48211}]
    /// ```
    /// It is known to be truncated.
    /// ```json
    /// [{"op": "add", "path": "/media/0/bytes", "value": 99999},
    ///  {"op": "replace", "path": "/media/0/state", "value": "truncated"}]
    /// ```
    ///
    /// # Fix
    /// Look for the file that belongs to the row. If the file is right, correct `bytes`.
    name: "file-size-contradicts", severity: Error, scope: Media, since: "0.2", clause: "media#files",
    needs: [Files],
    facts: {
        "bytes" = Count "the bytes of the file",
    },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let (Some(file), Some(recorded)) = (view.readable_file(), view.media.bytes) else { return };
    if recorded.get() == file.bytes || view.media.state == Some(MediaState::Truncated) {
        return;
    }
    let message = format!("the file has {} bytes, but {recorded} are recorded", file.bytes);
    out.report(view.subject("/bytes"), message).fact("bytes", file.bytes);
}
