//! The location of a value in an element. The source map records only tables and rows; this
//! searches the one row that is asked for. The text has been read before, so this is lenient and
//! reports no errors.

use quick_xml::events::{BytesStart, Event};
use quick_xml::reader::Reader;

use super::super::names;
use crate::position::Counter;

/// Line and column, from 1 and relative to the start of the part, of the element at a pointer below
/// the first element of the part; or of the nearest element that contains it.
pub(crate) fn locate(part: &[u8], below: &str) -> (usize, usize) {
    let steps: Vec<String> =
        below.split('/').skip(1).map(|step| step.replace("~1", "/").replace("~0", "~")).collect();
    // The part can be the rest of a large file, which must not be searched for every question.
    let mut reader = Reader::from_reader(part);
    reader.config_mut().expand_empty_elements = true;
    // The number of open elements, of steps that have been found, and of elements in the last one
    // found.
    let (mut open, mut found, mut before) = (0_usize, 0_usize, 0_usize);
    let mut at = 0;
    while let Some(step) = steps.get(found) {
        let offset = usize::try_from(reader.buffer_position()).unwrap_or_default();
        match reader.read_event() {
            Ok(Event::Start(tag)) => {
                let is_candidate = open == found + 1;
                open += 1;
                if is_candidate && is_step(&tag, step, before) {
                    (found, before, at) = (found + 1, 0, offset);
                } else if is_candidate {
                    before += 1;
                }
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

/// Whether an element has the key, the index, or the extension name of a step.
fn is_step(tag: &BytesStart<'_>, step: &str, before: usize) -> bool {
    tag.local_name().into_inner() == names::element(step)
        || step.parse() == Ok(before)
        || tag
            .try_get_attribute(names::EXTENSION_NAME)
            .is_ok_and(|name| name.is_some_and(|name| name.value == step))
}
