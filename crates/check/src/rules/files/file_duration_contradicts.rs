//! See the rule's documentation below.

use obvert_model::number::Seconds;
use obvert_model::tables::MediaState;

use crate::sink::Sink;
use crate::support::run_extent::exceeds;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The duration of a recording is not that in its row.
    ///
    /// # Exactly
    /// The two differ by more than `slack`, or by more than `share` of the recorded duration if
    /// that is more. A file whose row has the state `truncated` is not compared.
    ///
    /// # Why it matters
    /// A recording that is shorter than recorded was cut off; one that is longer is another one.
    ///
    /// # Fails
    /// At `/media/1/duration`:
    /// ```json
    /// [{"op": "replace", "path": "/files/videos~1r101.mp4/duration", "value": 640.0}]
    /// ```
    ///
    /// # Passes
    /// Rounded.
    /// ```json
    /// [{"op": "replace", "path": "/files/videos~1r101.mp4/duration", "value": 801.5}]
    /// ```
    /// It is known to be truncated.
    /// ```json
    /// [{"op": "replace", "path": "/files/videos~1r101.mp4/duration", "value": 640.0},
    ///  {"op": "replace", "path": "/media/1/state", "value": "truncated"}]
    /// ```
    ///
    /// # Fix
    /// Play the recording to its end. Copy it again if it was cut off; otherwise correct
    /// `duration`.
    name: "file-duration-contradicts", severity: Warning, scope: Media, since: "0.2", clause: "media#files",
    needs: [Files],
    limits: {
        "slack" = 2.0 "s" "greatest difference; common practice, no published source",
        "share" = 0.01 "of the recorded duration" "greatest difference if that is more; common practice, no published source",
    },
    facts: {
        "duration" = Seconds "the duration of the file",
    },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let Some(actual) = view.readable_file().and_then(|file| file.duration) else { return };
    let Some(recorded) = view.media.duration.map(Seconds::get) else { return };
    let slack = out.limit("slack").max(recorded * out.limit("share"));
    let truncated = view.media.state == Some(MediaState::Truncated);
    if truncated || !exceeds((actual - recorded).abs(), slack) {
        return;
    }
    let shown = (actual * 10.0).round() / 10.0;
    let message = format!("the recording is {shown} s long, but {recorded} s are recorded");
    out.report(view.subject("/duration"), message).fact("duration", actual);
}
