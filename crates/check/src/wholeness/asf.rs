//! ASF, of which WMV and WMA are kinds (Microsoft's specification, revision 01.20.05, sections 2, 3
//! and 5; from memory): objects by their sizes, and the size that the header states.

use super::source::{Source, Stop};

type Guid = [u8; 16];

const DATA: Guid = *b"\x36\x26\xB2\x75\x8E\x66\xCF\x11\xA6\xD9\x00\xAA\x00\x62\xCE\x6C";
const FILE: Guid = *b"\xA1\xDC\xAB\x8C\x47\xA9\xCF\x11\x8E\xE4\x00\xC0\x0C\x20\x53\x65";
const STREAM: Guid = *b"\x91\x07\xDC\xB7\xB7\xA9\xCF\x11\x8E\xE6\x00\xC0\x0C\x20\x53\x65";
const PICTURES: Guid = *b"\xC0\xEF\x19\xBC\x4D\x5B\xCF\x11\xA8\xFD\x00\x80\x5F\x5C\x44\x2B";

const HEADER: &str = "its header";

/// What the header states.
#[derive(Default)]
struct Stated {
    size: u64,
    packets: u64,
    /// Whether it was streamed, so that nothing else is stated.
    live: bool,
    pictures: bool,
}

pub(super) fn asf(source: &mut Source<'_>) -> Result<(), Stop> {
    let mut stated = Stated::default();
    let size = source.little(16, 8, HEADER)?;
    source.inside(0, size, HEADER)?;
    header(source, size, &mut stated)?;
    if !stated.pictures {
        source.facts.media_type = Some("audio/x-ms-wma");
        source.facts.sound = source.facts.duration;
    }
    let (mut place, mut data) = (size.max(30), false);
    while place < source.length() {
        if data && stated.size > 0 && place >= stated.size {
            break;
        }
        let name = guid(source, place)?;
        let size = source.little(place + 16, 8, "the header of an object")?;
        if name == DATA {
            data = true;
            if stated.live || size == 0 {
                return Err(Stop::unknown(
                    "its length was never written: either it was streamed, or the recording was \
                     cut off",
                ));
            }
        }
        if size < 24 {
            return Err(Stop::damaged("an object has an impossible size"));
        }
        source.inside(place, size, "one of its objects")?;
        place += size;
    }
    if !data {
        return Err(Stop::cut("it has no pictures and no sound, so the recording was cut off"));
    }
    source.inside(0, stated.size, "its content")?;
    source.facts.trailing = source.length() - place;
    if stated.size == 0 || stated.packets == 0 {
        return Err(Stop::unknown("its header does not state its size"));
    }
    Ok(())
}

fn guid(source: &mut Source<'_>, place: u64) -> Result<Guid, Stop> {
    let mut guid = Guid::default();
    guid.copy_from_slice(source.at(place, 16, "the header of an object")?);
    Ok(guid)
}

/// The objects of the header.
fn header(source: &mut Source<'_>, end: u64, stated: &mut Stated) -> Result<(), Stop> {
    let mut place = 30;
    while place + 24 <= end {
        let name = guid(source, place)?;
        let size = source.little(place + 16, 8, HEADER)?;
        if size < 24 || size > end - place {
            return Err(Stop::damaged("its header holds an object with an impossible size"));
        }
        if name == FILE && size >= 104 {
            properties(source, place, stated)?;
        }
        if name == STREAM && size >= 86 && guid(source, place + 24)? == PICTURES {
            stated.pictures = true;
            let (width, height) =
                (source.little(place + 78, 4, HEADER)?, source.little(place + 82, 4, HEADER)?);
            source.facts.note_pixels(width, height);
        }
        place += size;
    }
    Ok(())
}

fn properties(source: &mut Source<'_>, place: u64, stated: &mut Stated) -> Result<(), Stop> {
    stated.size = source.little(place + 40, 8, HEADER)?;
    stated.packets = source.little(place + 56, 8, HEADER)?;
    stated.live = source.little(place + 88, 4, HEADER)? & 1 == 1;
    // In units of 100 nanoseconds; what is shown starts after a pause in milliseconds.
    let played = source.little(place + 64, 8, HEADER)? / 10_000;
    let pause = source.little(place + 80, 8, HEADER)?;
    source.facts.duration = super::facts::ratio(played.saturating_sub(pause), 1000);
    Ok(())
}
