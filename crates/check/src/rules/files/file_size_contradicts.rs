//! See the rule's documentation below.

use obvert_model::tables::MediaState;

use crate::sink::Sink;
use crate::views::MediaView;
use crate::wholeness::Wholeness;

rule! {
    /// # What it checks
    /// The size of a file is not that in its row.
    ///
    /// # Exactly
    /// A file is not compared if its row has the state `truncated`, or if it is damaged
    /// (`file-damaged`).
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
    /// It was cut off (`file-damaged`).
    /// ```json
    /// [{"op": "add", "path": "/media/0/bytes", "value": 99999},
    ///  {"op": "replace", "path": "/files/photos~1lm014_001.jpg/wholeness", "value": {"damaged": {"how": "the file ends within its picture data", "cut": true}}}]
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
    let damaged = matches!(file.wholeness, Wholeness::Damaged { .. });
    let truncated = view.media.state == Some(MediaState::Truncated);
    if recorded.get() == file.bytes || damaged || truncated {
        return;
    }
    let message = format!("the file has {} bytes, but {recorded} are recorded", file.bytes);
    out.report(view.subject("/bytes"), message).fact("bytes", file.bytes);
}
