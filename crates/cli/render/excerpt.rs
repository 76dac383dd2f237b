//! Excerpts: the line of a location, cut to what surrounds its column.

use std::collections::BTreeMap;
use std::io::{self, Write};

use obvert::check::{Location, Severity};

use super::{faint, severity};

/// How many characters of a line are shown.
const WINDOW: usize = 96;
/// Lines of more bytes are measured once, not for every location on them: the whole source may be
/// one line.
const LONG: usize = 4096;
/// For how many characters of a line one byte offset is kept.
const STEP: usize = 1024;

/// A source of the texts that locations refer to.
pub(crate) trait Texts {
    /// The text of a file; `None` if it has no lines to show.
    fn text_of(&self, file: &str) -> Option<&[u8]>;

    /// The number of lines before the text in its file.
    fn lines_before(&self) -> usize {
        0
    }
}

/// The lines of a source, by number, without copying it.
pub(crate) struct SourceLines<'s> {
    source: &'s dyn Texts,
    files: BTreeMap<String, File>,
}

/// What is known of a file after the first location in it.
struct File {
    /// The decoded text, if it is in UTF-16.
    decoded: Option<String>,
    /// The offsets of the lines.
    starts: Vec<usize>,
    /// The measures of long lines, by the number of the line.
    long: BTreeMap<usize, Measures>,
}

impl File {
    fn new(text: &[u8]) -> Self {
        let decoded = of_utf16(text);
        let text = decoded.as_deref().map_or(text, str::as_bytes);
        let breaks =
            text.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(index, _)| index + 1);
        let starts = std::iter::once(0).chain(breaks).collect();
        Self { decoded, starts, long: BTreeMap::new() }
    }
}

impl<'s> SourceLines<'s> {
    pub(crate) fn new(source: &'s dyn Texts) -> Self {
        Self { source, files: BTreeMap::new() }
    }

    /// The line of a location with a marker under its column, for a message.
    pub(crate) fn unstyled(&mut self, at: &Location) -> Option<String> {
        let (text, marker) = self.excerpt(at)?;
        let mark = |marker: usize| format!("\n      | {}^", " ".repeat(marker));
        Some(format!("{:>5} | {text}{}", at.line, marker.map(mark).unwrap_or_default()))
    }

    /// Prints the line of a location with a marker under its column.
    pub(crate) fn show(
        &mut self,
        out: &mut dyn Write,
        at: &Location,
        weight: Severity,
    ) -> io::Result<()> {
        let Some((text, marker)) = self.excerpt(at) else { return Ok(()) };
        let gutter = at.line.to_string();
        writeln!(out, "  {} {text}", faint(&format!("{gutter} |")))?;
        if let Some(marker) = marker {
            let bar = format!("{} |", " ".repeat(gutter.len()));
            writeln!(out, "  {} {}{}", faint(&bar), " ".repeat(marker), severity(weight, "^"))?;
        }
        Ok(())
    }

    fn excerpt(&mut self, at: &Location) -> Option<(String, Option<usize>)> {
        let text = self.source.text_of(&at.file)?;
        // A zip has no lines.
        if text.starts_with(b"PK") {
            return None;
        }
        let file = self.files.entry(at.file.clone()).or_insert_with(|| File::new(text));
        let text = file.decoded.as_deref().map_or(text, str::as_bytes);
        let number = at.line - self.source.lines_before().min(at.line);
        let start = *file.starts.get(number.checked_sub(1)?)?;
        let end = file.starts.get(number).map_or(text.len(), |next| next - 1);
        let mut line = text.get(start..end)?;
        while let Some(rest) = line.strip_prefix("\u{FEFF}".as_bytes()) {
            line = rest;
        }
        while let Some(rest) = line.strip_suffix(b"\r") {
            line = rest;
        }
        // The column of a CSV file is the number of the cell, not of the character.
        let column = at.column.filter(|_| at.heading.is_none());
        Some(if line.len() > LONG {
            file.long.entry(number).or_insert_with(|| Measures::of(line)).window(line, column)
        } else {
            Measures::of(line).window(line, column)
        })
    }
}

/// Where the characters of a line are.
struct Measures {
    /// Whether it is UTF-8. A table that is not most likely uses a single-byte encoding, most of
    /// which agree on the common letters.
    utf8: bool,
    /// The byte offset of every [`STEP`]th character.
    marks: Vec<usize>,
    /// The number of characters.
    chars: usize,
    /// The number of leading white space characters.
    indent: usize,
}

impl Measures {
    fn of(line: &[u8]) -> Self {
        let text = std::str::from_utf8(line);
        let utf8 = text.is_ok();
        let indent = match text {
            Ok(text) => text.chars().take_while(|letter| letter.is_whitespace()).count(),
            Err(_) => line.iter().take_while(|byte| char::from(**byte).is_whitespace()).count(),
        };
        let (mut marks, mut chars) = (Vec::new(), 0);
        for (offset, byte) in line.iter().enumerate() {
            if utf8 && is_continuation(*byte) {
                continue;
            }
            if chars % STEP == 0 {
                marks.push(offset);
            }
            chars += 1;
        }
        Self { utf8, marks, chars, indent }
    }

    /// The byte offset of a character.
    fn offset(&self, line: &[u8], index: usize) -> usize {
        let Some(mark) = self.marks.get(index / STEP) else { return line.len() };
        let steps = index % STEP;
        if !self.utf8 {
            return (mark + steps).min(line.len());
        }
        let starts = line[*mark..].iter().enumerate().filter(|(_, byte)| !is_continuation(**byte));
        starts.map(|(offset, _)| mark + offset).nth(steps).unwrap_or(line.len())
    }

    /// What surrounds a column, made safe for the terminal, and where the marker belongs.
    fn window(&self, line: &[u8], column: Option<usize>) -> (String, Option<usize>) {
        let focus = column.map_or(self.indent, |column| column.saturating_sub(1)).min(self.chars);
        let from = if self.chars - self.indent <= WINDOW {
            self.indent
        } else {
            focus.saturating_sub(WINDOW / 3).max(self.indent)
        };
        let to = (from + WINDOW).min(self.chars);
        let shown = &line[self.offset(line, from)..self.offset(line, to)];
        let shown = match std::str::from_utf8(shown) {
            Ok(shown) if self.utf8 => shown.to_owned(),
            _ => shown.iter().map(|byte| char::from(*byte)).collect(),
        };
        // A tab counts as one space.
        let shown = super::plain(&shown.replace('\t', " "));
        let before = if from > self.indent { "…" } else { "" };
        let after = if to < self.chars { "…" } else { "" };
        let marker = column.map(|_| focus - from.min(focus) + before.chars().count());
        (format!("{before}{shown}{after}"), marker)
    }
}

/// Whether a byte of UTF-8 continues a character.
fn is_continuation(byte: u8) -> bool {
    byte & 0xC0 == 0x80
}

/// The text of a file in UTF-16, by its byte-order mark or by its zero bytes; `None` for any other.
fn of_utf16(bytes: &[u8]) -> Option<String> {
    let start = &bytes[..bytes.len().min(64)];
    let zeros = |odd: usize| {
        start.iter().skip(odd).step_by(2).filter(|byte| **byte == 0).count() * 4 > start.len()
    };
    let big = match start {
        [0xFE, 0xFF, ..] => true,
        [0xFF, 0xFE, ..] => false,
        [_, _, ..] if zeros(0) => true,
        [_, _, ..] if zeros(1) => false,
        _ => return None,
    };
    let units = bytes
        .as_chunks::<2>()
        .0
        .iter()
        .map(|pair| if big { u16::from_be_bytes(*pair) } else { u16::from_le_bytes(*pair) });
    Some(
        char::decode_utf16(units)
            .map(|letter| letter.unwrap_or(char::REPLACEMENT_CHARACTER))
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    struct One(Vec<u8>);

    impl Texts for One {
        fn text_of(&self, _: &str) -> Option<&[u8]> {
            Some(&self.0)
        }
    }

    fn at(line: usize, column: usize) -> Location {
        Location { file: "f".to_owned(), line, column: Some(column), heading: None }
    }

    /// The simple way: all characters of the line, counted for every location.
    fn counted(line: &str, column: usize) -> (String, Option<usize>) {
        let chars: Vec<char> = line.chars().collect();
        let indent = chars.iter().take_while(|letter| letter.is_whitespace()).count();
        let focus = (column - 1).min(chars.len());
        let from = match chars.len() - indent <= WINDOW {
            true => indent,
            false => focus.saturating_sub(WINDOW / 3).max(indent),
        };
        let to = (from + WINDOW).min(chars.len());
        let before = if from > indent { "…" } else { "" };
        let after = if to < chars.len() { "…" } else { "" };
        let shown: String = chars[from..to].iter().collect();
        let marker = focus - from.min(focus) + before.chars().count();
        (format!("{before}{shown}{after}"), Some(marker))
    }

    #[test]
    fn the_window_of_a_line_is_the_same_at_any_length() {
        for unit in ["a", "é", "x😀", "  ", "ü "] {
            for times in [0, 1, 95, 97, 1000, 5000] {
                let line = format!("  {}", unit.repeat(times));
                let source = One(format!("first\n{line}\r\nlast").into_bytes());
                let mut lines = SourceLines::new(&source);
                let chars = line.chars().count();
                for column in (1..=chars + 2).step_by(chars / 37 + 1) {
                    let found = lines.excerpt(&at(2, column)).expect("a line");
                    assert_eq!(found, counted(&line, column), "{unit:?} × {times} at {column}");
                }
            }
        }
    }

    #[test]
    fn a_message_has_the_line_and_a_marker() {
        let source = One(b"{\n\t\"id\": 1,\r\n  // why\n}".to_vec());
        let mut lines = SourceLines::new(&source);
        assert_eq!(lines.unstyled(&at(3, 3)).as_deref(), Some("    3 | // why\n      | ^"));
        assert_eq!(lines.unstyled(&at(9, 1)), None);
    }

    #[test]
    fn a_line_that_is_not_utf_8_is_shown_as_single_bytes() {
        let mut line = vec![b'x'; 5000];
        line[4000] = 0xE9;
        let (shown, marker) = SourceLines::new(&One(line)).excerpt(&at(1, 4001)).expect("a line");
        assert_eq!(shown.chars().nth(marker.expect("a marker")), Some('é'));
    }
}
