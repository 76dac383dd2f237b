//! See the rule's documentation below.

use obvert_model::tables::MediaKind;

use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// A recording is no longer than a day's work, and has as many pictures a second as its kind has: a video several,
    /// an interval video few. Numbers that are not above 0 are left to `number-impossible`.
    ///
    /// # Why it matters
    /// A duration in milliseconds, or a count of pictures where pictures a second were asked for, makes every time into
    /// the video wrong.
    ///
    /// # Fails
    /// At `/media/1/duration`:
    /// ```json
    /// [{"op": "replace", "path": "/media/1/duration", "value": 800000}]
    /// ```
    /// At `/media/1/frame_rate`:
    /// ```json
    /// [{"op": "add", "path": "/media/1/frame_rate", "value": 24000}]
    /// ```
    /// At `/media/1/frame_rate`:
    /// ```json
    /// [{"op": "replace", "path": "/media/1/kind", "value": "interval-video"}, {"op": "add", "path": "/media/1/frame_rate", "value": 25}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/media/1/frame_rate", "value": 59.94}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/media/1/kind", "value": "interval-video"}, {"op": "add", "path": "/media/1/frame_rate", "value": 2}]
    /// ```
    ///
    /// # Fix
    /// Correct the number; `duration` is in seconds, `frame_rate` in pictures a second.
    name: "recording-implausible", severity: Warning, scope: Media, since: "0.1", clause: "media#time-in-recordings",
    limits: {
        "longest" = 12.0 "h" "the longest recording: a long day of work; common practice, no published source",
        "fastest" = 240.0 "pictures a second" "what a camera in a pipe records at most; common practice, no published source",
        "slowest" = 4.0 "pictures a second" "what is a video and no interval video; common practice, no published source",
        "interval" = 12.0 "pictures a second" "what is an interval video and no video; common practice, no published source",
    },
    facts: {
        "duration" = Seconds "the duration, as recorded" if "it is too long",
        "frame_rate" = PerSecond "pictures a second, as recorded" if "they are too many or too few",
    },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let media = view.media;
    if let Some(duration) = media.duration {
        let (hours, longest) = (duration.get() / 3600.0, out.limit("longest"));
        if hours > longest {
            let message =
                format!("the recording is {duration} s long, which is {hours:.0} h; at most {longest} h are usual");
            out.report(view.subject("/duration"), message).fact("duration", duration.get());
        }
    }
    let Some(rate) = media.frame_rate.map(|rate| rate.get()).filter(|rate| *rate > 0.0) else { return };
    let [fastest, slowest, interval] = ["fastest", "slowest", "interval"].map(|name| out.limit(name));
    let message = match media.kind {
        MediaKind::Video if rate > fastest => {
            format!("{rate} pictures a second are more than a camera makes ({fastest})")
        }
        MediaKind::Video if rate < slowest => {
            format!("{rate} pictures a second make an interval video, but the kind is video")
        }
        MediaKind::IntervalVideo if rate > interval => {
            format!("{rate} pictures a second make a video, but the kind is interval-video")
        }
        _ => return,
    };
    out.report(view.subject("/frame_rate"), message).fact("frame_rate", rate);
}
