//! PDF (ISO 32000-1, 7.5; from memory).

use super::source::{Source, Stop};

/// How many bytes at the end hold the trailer.
const TAIL: usize = 2048;

/// The end marker, the place of the cross-reference table that it states, and for a file arranged
/// for the web the length that its first object states. A file that was added to holds its earlier
/// versions: one of those is a file too.
pub(super) fn pdf(source: &mut Source<'_>) -> Result<(), Stop> {
    let length = source.length();
    let count = TAIL.min(usize::try_from(length).unwrap_or(TAIL));
    let tail = source.at(length - count as u64, count, "its trailer")?.to_vec();
    let Some(end) = last(&tail, b"%%EOF") else {
        return Err(Stop::cut("its end marker is missing"));
    };
    let Some(start) = last(&tail[..end], b"startxref") else {
        return Err(Stop::damaged("its trailer does not say where its table is"));
    };
    let head = source.head(1024)?;
    if let Some(stated) = linearized(&head) {
        if stated > length {
            return Err(Stop::cut(format!("it has {length} of the {stated} bytes that it states")));
        }
    }
    let Some(table) = number(&tail[start + 9..end]) else {
        return Err(Stop::damaged("its trailer does not say where its table is"));
    };
    let room = usize::try_from(length.saturating_sub(table)).unwrap_or(TAIL).min(32);
    let there = source.at(table, room, "its cross-reference table")?;
    // A table, or an object that holds one.
    let there = there.trim_ascii_start();
    if there.starts_with(b"xref") || there.first().is_some_and(u8::is_ascii_digit) {
        return Ok(());
    }
    Err(Stop::damaged("its cross-reference table is not where its trailer says"))
}

/// The length that a file arranged for the web states in its first object.
fn linearized(head: &[u8]) -> Option<u64> {
    let at = last(head, b"/Linearized")?;
    let end = head[at..].windows(2).position(|pair| pair == b">>")? + at;
    let length = head[at..end].windows(3).position(|three| {
        &three[..2] == b"/L" && (three[2] == b' ' || three[2].is_ascii_digit())
    })?;
    number(&head[at + length + 2..end])
}

fn last(bytes: &[u8], part: &[u8]) -> Option<usize> {
    bytes.windows(part.len()).rposition(|window| window == part)
}

fn number(bytes: &[u8]) -> Option<u64> {
    let text: String = bytes
        .trim_ascii_start()
        .iter()
        .take_while(|byte| byte.is_ascii_digit())
        .map(|byte| char::from(*byte))
        .collect();
    text.parse().ok()
}
