//! The characters that a file can hold.

use obvert_convert::xml::markup::is_xml_char;

use crate::encoding::Charset;

/// The characters that a file can hold, and the replacement for others.
#[derive(Clone, Copy)]
pub(crate) enum Repertoire {
    /// Those of an encoding; others become a question mark.
    Encoded(Charset),
    /// Those of XML 1.0; others become the replacement character.
    Xml,
    /// All characters, as in a workbook.
    #[cfg(feature = "xlsx")]
    All,
}

impl Repertoire {
    pub(crate) fn has(self, letter: char) -> bool {
        match self {
            Self::Encoded(charset) => charset.has(letter),
            Self::Xml => is_xml_char(letter),
            #[cfg(feature = "xlsx")]
            Self::All => true,
        }
    }

    /// Whether a line break in a cell is kept in the file.
    pub(crate) const fn has_lines(self) -> bool {
        matches!(self, Self::Encoded(_))
    }

    fn substitute(self) -> char {
        if matches!(self, Self::Encoded(_)) { '?' } else { '\u{fffd}' }
    }

    /// A text as it is written to the file.
    pub(crate) fn written(self, text: &str) -> String {
        text.chars()
            .map(|letter| if self.has(letter) { letter } else { self.substitute() })
            .collect()
    }

    /// The characters of a text that were replaced, with their code points, if that is the only
    /// difference between two texts.
    pub(crate) fn lacking(self, before: &str, after: &str) -> Option<String> {
        let mut lacking: Vec<char> = before.chars().filter(|letter| !self.has(*letter)).collect();
        if lacking.is_empty() || self.written(before) != after {
            return None;
        }
        lacking.sort_unstable();
        lacking.dedup();
        // An invisible character is shown as its code point only.
        let named = |letter: &char| match letter.is_control() {
            true => format!("U+{:04X}", u32::from(*letter)),
            false => with_code_point(*letter),
        };
        Some(lacking.iter().map(named).collect::<Vec<_>>().join(", "))
    }
}

/// A character with its code point, for a message.
pub(crate) fn with_code_point(letter: char) -> String {
    format!("{letter:?} (U+{:04X})", u32::from(letter))
}
