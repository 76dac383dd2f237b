//! See the rule's documentation below.

use obvert_model::tables::MediaKind;

use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// A recording is longer than a day's work, or its frame rate does not fit its kind.
    ///
    /// # Exceptions
    /// - The number is not above 0 (`number-impossible`).
    ///
    /// # Exactly
    /// `duration` is greater than `longest`; the `frame_rate` of a `video` is greater than
    /// `fastest` or less than `slowest`, that of an `interval-video` greater than `interval`.
    ///
    /// # Why it matters
    /// A duration in milliseconds, or a count of frames instead of a frame rate, makes every time
    /// into the video wrong.
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
    /// Correct the number; `duration` is in seconds, `frame_rate` in frames per second.
    name: "recording-implausible", severity: Warning, scope: Media, since: "0.1", clause: "media#time-in-recordings",
    limits: {
        "longest" = 12.0 "h"
            "longest recording: a long day of work; common practice, no published source",
        "fastest" = 240.0 "frames per second"
            "highest frame rate of a pipe camera; common practice, no published source",
        "slowest" = 4.0 "frames per second"
            "lowest frame rate of a video; common practice, no published source",
        "interval" = 12.0 "frames per second"
            "highest frame rate of an interval video; common practice, no published source",
    },
    facts: {
        "duration" = Seconds "the duration, as recorded" if "it is too long",
        "frame_rate" = PerSecond "the frame rate, as recorded" if "it does not fit the kind",
    },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let media = view.media;
    if let Some(duration) = media.duration {
        let (hours, longest) = (duration.get() / 3600.0, out.limit("longest"));
        if hours > longest {
            let message = format!(
                "the recording is {duration} s ({hours:.0} h) long, more than the plausible {longest} h"
            );
            out.report(view.subject("/duration"), message).fact("duration", duration.get());
        }
    }
    let Some(rate) = media.frame_rate.map(|rate| rate.get()).filter(|rate| *rate > 0.0) else {
        return;
    };
    let [fastest, slowest, interval] =
        ["fastest", "slowest", "interval"].map(|name| out.limit(name));
    let message = match media.kind {
        MediaKind::Video if rate > fastest => {
            format!("the frame rate is {rate} per second, more than the plausible {fastest}")
        }
        MediaKind::Video if rate < slowest => {
            format!("the kind is \"video\", but {rate} frames per second make an interval video")
        }
        MediaKind::IntervalVideo if rate > interval => {
            format!("the kind is \"interval-video\", but {rate} frames per second make a video")
        }
        _ => return,
    };
    out.report(view.subject("/frame_rate"), message).fact("frame_rate", rate);
}
