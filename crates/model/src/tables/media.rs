//! Media files: stills, video, audio and documents.

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
        /// A video with a low frame rate, to keep the file small.
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
    /// The state of a media file.
    pub MediaState {
        /// Whole.
        Complete = "complete",
        /// Truncated, for example by a loss of power.
        Truncated = "truncated",
        /// Lost.
        Lost = "lost",
    }
}

table! {
    /// A media file.
    #[doc(alias = "photograph")]
    #[doc(alias = "still")]
    #[doc(alias = "video")]
    #[doc(alias = "recording")]
    pub Media {
        /// Identifies the file.
        id: MediaId,
        /// Its path relative to the document, with `/` between folders.
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
        /// Its duration, in seconds.
        duration?: Seconds,
        /// The frame rate, in frames per second.
        frame_rate?: FrameRate,
        /// The rotation of the picture by the operator, clockwise in degrees. Clock references
        /// refer to the true vertical in any case.
        rotation?: Degrees,
        /// The run that it belongs to.
        run?: RunId,
        /// The distance at which a still was taken, in length units.
        at?: Length,
        /// What it shows.
        caption?: Text,
        /// Its state.
        state?: MediaState,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}
