//! See the rule's documentation below.

use obvert_model::tables::MediaState;

use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// A file that is not stated as lost has content: its size is not 0.
    ///
    /// # Why it matters
    /// The camera opened a file and wrote nothing into it. The picture was never there, and only the pipe can show it
    /// again.
    ///
    /// # Fails
    /// At `/media/0/bytes`:
    /// ```json
    /// [{"op": "add", "path": "/media/0/bytes", "value": 0}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/media/0/bytes", "value": 1}]
    /// ```
    ///
    /// # Fix
    /// Look for the file on the recorder; if it is empty there, state it as lost.
    name: "media-empty", severity: Error, scope: Media, since: "0.1", clause: "media#state",
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let media = view.media;
    if media.bytes.is_some_and(|bytes| bytes.get() == 0) && media.state != Some(MediaState::Lost) {
        out.report(view.subject("/bytes"), format!("the file {:?} is empty", media.file.as_str()));
    }
}
