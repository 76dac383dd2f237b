//! Tells whether a media file is whole, by the structure of its format: every length that the file
//! states is compared with what it has, up to its end. Pictures and sound are not decoded.
//!
//! A file of a format in which any beginning of a file is a file too (MPEG streams, fragmented MP4)
//! cannot show that nothing is missing, and is never called whole.
//!
//! [`describe`] tells on the same walk what the file says about itself: its type, the size of its
//! pictures, how long it lasts, when it was recorded.
//!
//! ```
//! use obvert_check::wholeness::{Wholeness, examine};
//!
//! let gif = b"GIF89a\x01\0\x01\0\0\0\0\x2C\0\0\0\0\x01\0\x01\0\0\x02\x02\x44\x01\0\x3B";
//! let verdict = examine(&mut std::io::Cursor::new(gif))?;
//! assert_eq!(verdict, Wholeness::Whole);
//! let verdict = examine(&mut std::io::Cursor::new(&gif[..20]))?;
//! assert!(matches!(verdict, Wholeness::Damaged { cut: true, .. }));
//! # Ok::<(), std::io::Error>(())
//! ```

mod adts;
mod asf;
mod avc;
mod boxes;
mod exif;
mod facts;
mod flac;
mod images;
mod items;
mod matroska;
mod moments;
mod mp3;
mod mpeg;
mod ogg;
mod pdf;
mod riff;
mod samples;
mod source;
mod tiff;
mod times;
mod types;

use std::io::{self, Read, Seek};

use serde::{Deserialize, Serialize};

pub use self::facts::{Captured, MediaFacts};
use self::source::{Source, Stop};
pub(crate) use self::types::HEAD;
pub use self::types::type_of;

/// Whether a file is whole.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Wholeness {
    /// Everything that the file says it holds is there.
    Whole,
    /// Something is missing or wrong.
    Damaged {
        /// What, in words.
        how: String,
        /// Whether the end of the file is missing, as when a recording or a copy was cut off.
        cut: bool,
    },
    /// The format does not show it, or is not known.
    CannotTell {
        /// Why, in words.
        why: String,
    },
}

/// Tells whether a file is whole. It is read in parts of bounded size, wherever it is positioned.
///
/// # Errors
/// If it cannot be read.
pub fn examine<R: Read + Seek>(reader: &mut R) -> io::Result<Wholeness> {
    Ok(describe(reader)?.whole)
}

/// Tells whether a file is whole, and what it says about itself. A file that is cut off is
/// described up to there.
///
/// # Errors
/// If it cannot be read.
pub fn describe<R: Read + Seek>(reader: &mut R) -> io::Result<MediaFacts> {
    let mut source = Source::new(reader)?;
    let walked = match source.length() {
        0 => Err(Stop::cut("the file is empty")),
        _ => walk(&mut source),
    };
    let whole = match walked {
        Ok(()) => Wholeness::Whole,
        Err(Stop::Damaged(how)) => Wholeness::Damaged { how, cut: false },
        Err(Stop::Cut(how)) => Wholeness::Damaged { how, cut: true },
        Err(Stop::Unknown(why)) => Wholeness::CannotTell { why },
        Err(Stop::Io(error)) => return Err(error),
    };
    Ok(MediaFacts { whole, ..source.facts })
}

/// Walks through the structure of a file to its end.
fn walk(source: &mut Source<'_>) -> Result<(), Stop> {
    let head = source.head(HEAD)?;
    source.facts.media_type = type_of(&head);
    let at = |offset: usize, bytes: &[u8]| head.get(offset..offset + bytes.len()) == Some(bytes);
    match head.as_slice() {
        [0x89, b'P', b'N', b'G', ..] => images::png(source),
        [0xFF, 0xD8, 0xFF, ..] => images::jpeg(source),
        [b'G', b'I', b'F', b'8', b'7' | b'9', b'a', ..] => images::gif(source),
        [b'B', b'M', ..] if at(6, &[0; 4]) => images::bmp(source),
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => tiff::tiff(source),
        [b'R', b'I', b'F', b'F', ..] | [b'R', b'F', b'6', b'4', ..] => riff::riff(source),
        [b'%', b'P', b'D', b'F', b'-', ..] => pdf::pdf(source),
        [0x1A, 0x45, 0xDF, 0xA3, ..] => matroska::matroska(source),
        [0, 0, 1, 0xBA, ..] => mpeg::program_stream(source),
        [b'O', b'g', b'g', b'S', ..] => ogg::ogg(source),
        [b'f', b'L', b'a', b'C', ..] => flac::flac(source),
        [0x30, 0x26, 0xB2, 0x75, 0x8E, 0x66, 0xCF, 0x11, ..] => asf::asf(source),
        [0x47, ..] if at(188, &[0x47]) => mpeg::transport_stream(source, 0),
        _ if at(4, &[0x47]) && at(196, &[0x47]) && at(388, &[0x47]) => {
            mpeg::transport_stream(source, 4)
        }
        [b'I', b'D', b'3', ..] => mp3::mp3(source),
        [0xFF, second, ..] if second & 0xE0 == 0xE0 => mp3::mp3(source),
        _ if ["ftyp", "moov", "mdat", "free", "wide", "skip"]
            .iter()
            .any(|name| at(4, name.as_bytes())) =>
        {
            boxes::boxes(source)
        }
        _ => Err(Stop::unknown("its format is not one whose structure is examined")),
    }
}
