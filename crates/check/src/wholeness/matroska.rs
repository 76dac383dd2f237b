//! Matroska and WebM (RFC 8794, RFC 9559; from memory): elements by their sizes.

use super::source::{Source, Stop};

const SEGMENT: u64 = 0x1853_8067;
const CLUSTER: u64 = 0x1F43_B675;

/// An element: its id, where its content begins, and its size if it is known.
struct Element {
    id: u64,
    content: u64,
    size: Option<u64>,
}

pub(super) fn matroska(source: &mut Source<'_>) -> Result<(), Stop> {
    let mut place = 0;
    while place < source.length() {
        let element = element_at(source, place)?;
        let size = match (element.id, element.size) {
            (SEGMENT, size) => return segment(source, element.content, size),
            (_, Some(size)) => size,
            (_, None) => return Err(Stop::damaged("an element has no size")),
        };
        source.inside(element.content, size, "its header")?;
        place = element.content + size;
    }
    Err(Stop::cut("it has no pictures, so the recording was cut off"))
}

/// The elements of the segment, which holds everything. A recorder writes its size at the end.
fn segment(source: &mut Source<'_>, content: u64, size: Option<u64>) -> Result<(), Stop> {
    if let Some(size) = size {
        source.inside(content, size, "its content")?;
    }
    let end = size.map_or(source.length(), |size| content + size);
    let (mut place, mut clusters, mut open) = (content, 0, size.is_none());
    while place < end {
        let element = element_at(source, place)?;
        clusters += usize::from(element.id == CLUSTER);
        match element.size {
            Some(size) => {
                source.inside(element.content, size, "one of its elements")?;
                if element.content + size > end {
                    return Err(Stop::damaged("an element is longer than the one that holds it"));
                }
                place = element.content + size;
            }
            // The elements of a cluster without a size are walked through like its neighbours.
            None if element.id == CLUSTER => {
                open = true;
                place = element.content;
            }
            None => return Err(Stop::damaged("an element has no size")),
        }
    }
    if clusters == 0 {
        return Err(Stop::cut("it has no pictures, so the recording was cut off"));
    }
    if open {
        return Err(Stop::unknown(
            "its length was never written: either it was streamed, or the recording was cut off",
        ));
    }
    Ok(())
}

fn element_at(source: &mut Source<'_>, place: u64) -> Result<Element, Stop> {
    let what = "the header of an element";
    let id_length = leading(source.byte(place, what)?, 4)?;
    let id = source.big(place, id_length, what)?;
    let place = place + id_length as u64;
    let length = leading(source.byte(place, what)?, 8)?;
    let all = (1u64 << (7 * length)) - 1;
    let size = source.big(place, length, what)? & all;
    // All ones mean that the size is unknown.
    let size = (size != all).then_some(size);
    Ok(Element { id, content: place + length as u64, size })
}

/// How many bytes a number has, by the zero bits that it begins with.
fn leading(first: u8, most: usize) -> Result<usize, Stop> {
    let length = first.leading_zeros() as usize + 1;
    if length > most {
        return Err(Stop::damaged("there is no element where one should begin"));
    }
    Ok(length)
}
