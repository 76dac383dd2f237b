//! See the rule's documentation below.

use obvert_model::tables::{MediaKind, MediaState};

use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The size of a recording does not fit its duration.
    ///
    /// # Exceptions
    /// - The file is empty (`media-empty`), or its state is `truncated` or `lost`.
    /// - `duration` is not above 0 (`number-impossible`), or above 12 h (`recording-implausible`).
    ///
    /// # Exactly
    /// *rate* is 8 × `bytes` ∕ `duration`, in bits per second. It is less than `video`, or greater
    /// than `fastest`, for the kind `video`; less than `audio` for `interval-video` and `audio`.
    ///
    /// # Why it matters
    /// The file was cut off while it was copied, the duration is in minutes or milliseconds, or the
    /// row is that of another file.
    ///
    /// # Source
    /// Common practice, no published source: a video with less shows nothing, and cameras do not
    /// record more.
    ///
    /// # Fails
    /// 10 minutes in 2 kB, at `/media/1/bytes`:
    /// ```json
    /// [{"op": "add", "path": "/media/1/bytes", "value": 2048}]
    /// ```
    /// At `/media/1/bytes`:
    /// ```json
    /// [{"op": "add", "path": "/media/1/bytes", "value": 429363299}, {"op": "replace", "path": "/media/1/duration", "value": 2}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/media/1/bytes", "value": 429363299}]
    /// ```
    /// One picture a second.
    /// ```json
    /// [{"op": "replace", "path": "/media/1/kind", "value": "interval-video"}, {"op": "add", "path": "/media/1/bytes", "value": 900000}]
    /// ```
    ///
    /// # Fix
    /// Play the file to its end; copy it again if it is shorter, or correct `duration` or `bytes`.
    name: "bit-rate-implausible", severity: Warning, scope: Media, since: "0.1", clause: "media#time-in-recordings",
    limits: {
        "video" = 16000.0 "bit/s" "lowest bit rate of a video; common practice, no published source",
        "fastest" = 800000000.0 "bit/s"
            "highest bit rate of a video; common practice, no published source",
        "audio" = 1000.0 "bit/s"
            "lowest bit rate of a sound recording or an interval video; common practice, no published source",
    },
    facts: { "rate" = PerSecond "bits per second" },
}

/// `recording-implausible` reports a longer recording. In seconds.
const LONGEST: f64 = 12.0 * 3600.0;

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let media = view.media;
    let (Some(bytes), Some(duration)) = (media.bytes, media.duration) else { return };
    let whole = !matches!(media.state, Some(MediaState::Truncated | MediaState::Lost));
    let (bytes, duration) = (bytes.get(), duration.get());
    if bytes == 0 || duration <= 0.0 || duration > LONGEST || !whole {
        return;
    }
    #[allow(clippy::cast_precision_loss)]
    let rate = bytes as f64 * 8.0 / duration;
    let few = match media.kind {
        MediaKind::Video => rate < out.limit("video"),
        MediaKind::IntervalVideo | MediaKind::Audio => rate < out.limit("audio"),
        _ => return,
    };
    if !(few || media.kind == MediaKind::Video && rate > out.limit("fastest")) {
        return;
    }
    let how = if few { "too small" } else { "too large" };
    let message = format!(
        "the file has {bytes} bytes for {duration} s of {}, which is {how}",
        media.kind.as_str()
    );
    out.report(view.subject("/bytes"), message).fact("rate", rate);
}
