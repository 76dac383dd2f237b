//! What a media file says about itself.

use jiff::civil::DateTime;
use jiff::tz::Offset;

use super::Wholeness;

/// What a media file says about itself. What its format does not state is `None`.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct MediaFacts {
    /// Its type by its content, not by its name.
    pub media_type: Option<&'static str>,
    /// Whether it is whole.
    pub whole: Wholeness,
    /// The width and the height of its pictures as they are stored, before any rotation.
    pub pixels: Option<[u32; 2]>,
    /// How long its pictures last, or its sound if it has no pictures, in seconds.
    pub duration: Option<f64>,
    /// How long its sound lasts, in seconds. A recording that was cut off often has more of one
    /// than of the other.
    pub sound: Option<f64>,
    /// How many pictures it has in a second, on average.
    pub frame_rate: Option<f64>,
    /// How the picture or the film is to be turned, as Exif numbers it: 1 to 8, 1 is upright.
    pub orientation: Option<u8>,
    /// When it was recorded.
    pub captured: Option<Captured>,
    /// How many bytes follow what the format calls the end. They do no harm, but nothing shows
    /// them.
    pub trailing: u64,
}

/// When a picture or a film was recorded, by the clock of the camera.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Captured {
    /// The time.
    pub at: DateTime,
    /// Its offset from UTC, if the file states it. Films state times in UTC, but many cameras write
    /// their local time there.
    pub offset: Option<Offset>,
}

impl MediaFacts {
    /// How far a viewer turns the picture or the film, clockwise in degrees. `None` if that is not
    /// stated, or if it is mirrored.
    #[must_use]
    pub const fn turned(&self) -> Option<u16> {
        match self.orientation {
            Some(1) => Some(0),
            Some(3) => Some(180),
            Some(6) => Some(90),
            Some(8) => Some(270),
            _ => None,
        }
    }

    pub(super) const fn new() -> Self {
        Self {
            media_type: None,
            whole: Wholeness::Whole,
            pixels: None,
            duration: None,
            sound: None,
            frame_rate: None,
            orientation: None,
            captured: None,
            trailing: 0,
        }
    }

    /// Notes the size of a picture. Sizes of zero mean that it is stated elsewhere.
    pub(super) fn note_pixels(&mut self, width: u64, height: u64) {
        let number = |size: u64| u32::try_from(size).ok().filter(|size| *size > 0);
        if let (Some(width), Some(height)) = (number(width), number(height)) {
            self.pixels = Some([width, height]);
        }
    }

    /// Notes a time that is counted in seconds from a year in UTC; zero means that none is stated.
    pub(super) fn note_captured(&mut self, year: i16, seconds: u64) {
        let epoch = jiff::civil::date(year, 1, 1).at(0, 0, 0, 0);
        let Ok(seconds) = i64::try_from(seconds) else { return };
        let span = jiff::SignedDuration::from_secs(seconds);
        if seconds > 0 {
            if let Ok(at) = epoch.checked_add(span) {
                self.captured = Some(Captured { at, offset: Some(Offset::UTC) });
            }
        }
    }
}

/// A ratio, unless it has no meaning. Counts beyond 2^53 do not occur.
#[allow(clippy::cast_precision_loss)]
pub(super) fn ratio(over: u64, under: u64) -> Option<f64> {
    (over > 0 && under > 0).then(|| over as f64 / under as f64)
}
