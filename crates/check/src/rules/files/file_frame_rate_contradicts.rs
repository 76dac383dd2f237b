//! See the rule's documentation below.

use obvert_model::number::FrameRate;
use obvert_model::tables::MediaKind;

use crate::sink::Sink;
use crate::support::run_extent::exceeds;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The frame rate of a film is not that in its row.
    ///
    /// # Exactly
    /// The two differ by more than `share` of the recorded rate. A row of the kind `interval-video`
    /// is not compared.
    ///
    /// # Why it matters
    /// Times in the film that were computed from frame numbers are wrong, or the film is another
    /// one.
    ///
    /// # Fails
    /// At `/media/1/frame_rate`:
    /// ```json
    /// [{"op": "add", "path": "/media/1/frame_rate", "value": 30}]
    /// ```
    ///
    /// # Passes
    /// Rounded.
    /// ```json
    /// [{"op": "add", "path": "/media/1/frame_rate", "value": 25.02}]
    /// ```
    /// The film does not say.
    /// ```json
    /// [{"op": "add", "path": "/media/1/frame_rate", "value": 30},
    ///  {"op": "remove", "path": "/files/videos~1r101.mp4/frame_rate"}]
    /// ```
    ///
    /// # Fix
    /// Correct `frame_rate`, or look for the film that belongs to the row.
    name: "file-frame-rate-contradicts", severity: Warning, scope: Media, since: "0.2", clause: "media#files",
    needs: [Files],
    limits: {
        "share" = 0.02 "of the recorded rate" "greatest difference; common practice, no published source",
    },
    facts: {
        "frame_rate" = PerSecond "the frames a second of the file",
    },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let Some(actual) = view.readable_file().and_then(|file| file.frame_rate) else { return };
    let Some(recorded) = view.media.frame_rate.map(FrameRate::get) else { return };
    // Films of one picture every few seconds have a rate of their own.
    if view.media.kind == MediaKind::IntervalVideo
        || !exceeds((actual - recorded).abs(), recorded * out.limit("share"))
    {
        return;
    }
    let shown = (actual * 100.0).round() / 100.0;
    let message = format!("the film has {shown} frames a second, but {recorded} are recorded");
    out.report(view.subject("/frame_rate"), message).fact("frame_rate", actual);
}
