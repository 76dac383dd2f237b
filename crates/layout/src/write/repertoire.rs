//! The characters that a file can hold.

use obvert_convert::xml::markup::is_xml_char;

use crate::encoding::Charset;

/// The characters that a file can hold, and what it has in place of the others.
#[derive(Clone, Copy)]
pub(crate) enum Repertoire {
    /// Those of an encoding, and a question mark.
    Encoded(Charset),
    /// Those of XML 1.0, and the replacement character.
    Xml,
    /// All that a text can have, as a workbook does.
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

    /// Whether a line break in a cell is one in the file.
    pub(crate) const fn has_lines(self) -> bool {
        matches!(self, Self::Encoded(_))
    }

    fn substitute(self) -> char {
        if matches!(self, Self::Encoded(_)) { '?' } else { '\u{fffd}' }
    }

    /// A text as it is written.
    pub(crate) fn written(self, text: &str) -> String {
        text.chars()
            .map(|letter| if self.has(letter) { letter } else { self.substitute() })
            .collect()
    }

    /// Which characters of a text became others, with their code points, where that is the whole
    /// difference of the two.
    pub(crate) fn lacking(self, before: &str, after: &str) -> Option<String> {
        let mut lacking: Vec<char> = before.chars().filter(|letter| !self.has(*letter)).collect();
        if lacking.is_empty() || self.written(before) != after {
            return None;
        }
        lacking.sort_unstable();
        lacking.dedup();
        // A character that cannot be seen has its code point alone.
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
