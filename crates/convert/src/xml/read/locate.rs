//! Where a value below an element stands. The source map records tables and rows only; this looks
//! into the one row that is asked for. It reads text that has been read before, so it is lenient
//! and ends quietly.

use quick_xml::events::{BytesStart, Event};
use quick_xml::reader::Reader;

use super::super::names;
use crate::position::Counter;

/// Line and column, from 1 and counted from the part's own start, of the element at a pointer below
/// the element that a part begins with; of the nearest that holds it where there is no such
/// element.
pub(crate) fn locate(part: &[u8], below: &str) -> (usize, usize) {
    let steps: Vec<String> =
        below.split('/').skip(1).map(|step| step.replace("~1", "/").replace("~0", "~")).collect();
    // The part can be the rest of a large file, which is not to be looked through for every
    // question.
    let mut reader = Reader::from_reader(part);
    reader.config_mut().expand_empty_elements = true;
    // How many elements are open, how many steps have been found, and how many elements the last
    // one found has had.
    let (mut open, mut found, mut before) = (0_usize, 0_usize, 0_usize);
    let mut at = 0;
    while let Some(step) = steps.get(found) {
        let offset = usize::try_from(reader.buffer_position()).unwrap_or_default();
        match reader.read_event() {
            Ok(Event::Start(tag)) => {
                if open == found + 1 {
                    if is_step(&tag, step, before) {
                        (found, before, at) = (found + 1, 0, offset);
                    } else {
                        before += 1;
                    }
                }
                open += 1;
            }
            Ok(Event::End(_)) => {
                open = open.saturating_sub(1);
                if open <= found {
                    break;
                }
            }
            Ok(Event::Eof) | Err(_) => break,
            Ok(_) => {}
        }
    }
    let before = part.get(..at).and_then(|before| std::str::from_utf8(before).ok());
    before.map_or((1, 1), |before| Counter::new(before).at(at))
}

/// Whether an element is the one of a key, the item of an index, or the extension of a name.
fn is_step(tag: &BytesStart<'_>, step: &str, before: usize) -> bool {
    tag.local_name().into_inner() == names::element(step)
        || step.parse() == Ok(before)
        || tag
            .try_get_attribute(names::EXTENSION_NAME)
            .is_ok_and(|name| name.is_some_and(|name| name.value == step))
}
