//! Stills, video, audio and documents, and what state they are in.

use crate::extension::Extensions;
use crate::number::{Bytes, Degrees, FrameRate, Length, Seconds};
use crate::text::{MediaId, MediaType, RunId, Sha256, Text, Timestamp};

words! {
    /// What a media file is.
    pub MediaKind {
        /// A still picture.
        Photo = "photo",
        /// A video.
        Video = "video",
        /// A video of few pictures a second, to keep the file small.
        IntervalVideo = "interval-video",
        /// A spoken commentary or other sound.
        Audio = "audio",
        /// A document.
        Document = "document",
        /// A scan of the pipe's wall or profile.
        Scan = "scan",
    }
}

words! {
    /// What state a media file is in.
    pub MediaState {
        /// Whole.
        Complete = "complete",
        /// Cut off, for instance by a loss of power.
        Truncated = "truncated",
        /// Gone.
        Lost = "lost",
    }
}

table! {
    /// A media file.
    pub Media {
        /// Identifies the file.
        id: MediaId,
        /// Its path beside the document, with `/` between folders.
        file: Text,
        /// What it is.
        kind: MediaKind,
        /// Its media type (RFC 6838).
        #[serde(rename = "type")]
        media_type?: MediaType,
        /// Its size.
        bytes?: Bytes,
        /// Its digest.
        sha256?: Sha256,
        /// When it was taken.
        captured?: Timestamp,
        /// Its length in time, in seconds.
        duration?: Seconds,
        /// Pictures a second.
        frame_rate?: FrameRate,
        /// How far the operator had turned the picture clockwise against what the camera saw, in
        /// degrees. Clock references refer to the true vertical whatever this says.
        rotation?: Degrees,
        /// The run that it belongs to.
        run?: RunId,
        /// The distance at which a still was taken, in length units.
        at?: Length,
        /// What it shows.
        caption?: Text,
        /// What state it is in.
        state?: MediaState,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}
