//! The bytes of a file as text and back, in the encodings that office systems write. A declared
//! encoding is used, unless a byte-order mark contradicts it, which is certain. Without a
//! declaration the encoding is guessed, and the guess is reported.

use std::fmt;

use encoding_rs::{DecoderResult, Encoding as Standard, UTF_8, UTF_16BE, UTF_16LE, mem};
use obvert_model::layout::Encoding;

use crate::detect;

/// The names of ISO 8859-1 (IANA). The WHATWG standard reads them as windows-1252, as browsers do.
const LATIN1: [&str; 10] = [
    "iso-8859-1",
    "iso8859-1",
    "iso88591",
    "iso_8859-1",
    "iso_8859-1:1987",
    "iso-ir-100",
    "csisolatin1",
    "latin1",
    "l1",
    "cp819",
];

/// An encoding of the characters of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Charset {
    /// ISO 8859-1, whose bytes are the first 256 characters.
    Latin1,
    /// UTF-16, written with a byte-order mark.
    Utf16 {
        /// Whether the high byte comes first.
        big_endian: bool,
    },
    /// An encoding of the WHATWG standard.
    Standard(&'static Standard),
}

impl Charset {
    pub(crate) const UTF_8: Self = Self::Standard(UTF_8);

    /// The encoding of a label; `None` if the standard does not have it.
    pub(crate) fn of(label: &str) -> Option<Self> {
        if LATIN1.iter().any(|name| name.eq_ignore_ascii_case(label))
            || label.eq_ignore_ascii_case("ibm819")
        {
            return Some(Self::Latin1);
        }
        Some(match Standard::for_label_no_replacement(label.as_bytes())? {
            standard if standard == UTF_16LE => Self::Utf16 { big_endian: false },
            standard if standard == UTF_16BE => Self::Utf16 { big_endian: true },
            standard => Self::Standard(standard),
        })
    }

    /// The label of the encoding, for a layout.
    pub(crate) fn label(self) -> Option<Encoding> {
        Encoding::new(&self.to_string()).ok()
    }

    fn is_utf16(self) -> bool {
        matches!(self, Self::Utf16 { .. })
    }

    /// Whether each character is one byte, so that any bytes are valid text.
    fn is_single_byte(self) -> bool {
        match self {
            Self::Latin1 => true,
            Self::Utf16 { .. } => false,
            Self::Standard(standard) => standard.is_single_byte(),
        }
    }

    /// Whether the encoding has a character.
    pub(crate) fn has(self, letter: char) -> bool {
        match self {
            Self::Latin1 => u32::from(letter) < 256,
            Self::Utf16 { .. } => true,
            Self::Standard(standard)
                if standard == UTF_8 || letter.is_ascii_graphic() || letter == ' ' =>
            {
                true
            }
            Self::Standard(standard) => !standard.encode(letter.encode_utf8(&mut [0; 4])).2,
        }
    }
}

impl fmt::Display for Charset {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Latin1 => f.write_str("iso-8859-1"),
            Self::Utf16 { big_endian: false } => f.write_str("utf-16"),
            Self::Utf16 { big_endian: true } => f.write_str("utf-16be"),
            Self::Standard(standard) => f.write_str(&standard.name().to_ascii_lowercase()),
        }
    }
}

/// How the encoding of a file was determined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Known {
    /// It is the declared one, or all possible encodings give the same text.
    Declared,
    /// A byte-order mark contradicts the declaration.
    Marked,
    /// It is not declared.
    Guessed,
}

/// Whether bytes are UTF-16, judged by their zeros, and if so whether the high byte comes first.
/// Tables are mostly Latin letters and digits, which have a zero in one of their two bytes.
fn zeros_of_utf16(source: &[u8]) -> Option<bool> {
    let start = &source[..source.len().min(4096)];
    let zeros = |odd: usize| start.iter().skip(odd).step_by(2).filter(|byte| **byte == 0).count();
    let (even, odd) = (zeros(0), zeros(1));
    (start.len() > 3 && even.max(odd) * 4 > start.len()).then_some(even > odd)
}

/// The most likely encoding of bytes without a byte-order mark.
fn guess(source: &[u8]) -> Charset {
    if zeros_of_utf16(source).is_some() {
        return Charset::Utf16 { big_endian: false };
    }
    let is_utf8 = std::str::from_utf8(source).is_ok();
    Charset::Standard(if is_utf8 { UTF_8 } else { detect::of_bytes(source) })
}

/// The number of lines of a text.
fn line_at_end(text: &str) -> usize {
    1 + text.bytes().filter(|byte| *byte == b'\n').count()
}

/// The text of a file, its encoding, and how that was determined.
///
/// # Errors
/// With the line, from 1, that cannot be read, and the reason.
pub(crate) fn decode(
    source: &[u8],
    declared: Option<Charset>,
) -> Result<(String, Charset, Known), (usize, String)> {
    let mark = Standard::for_bom(source);
    let body = &source[mark.map_or(0, |(_, length)| length)..];
    let charset = match mark {
        Some((standard, _)) if standard == UTF_8 => Charset::UTF_8,
        Some(_) => Charset::Utf16 { big_endian: false },
        None => declared.unwrap_or_else(|| guess(source)),
    };
    let known = match declared {
        Some(declared) if declared == charset || declared.is_utf16() && charset.is_utf16() => {
            Known::Declared
        }
        Some(_) => Known::Marked,
        // A byte-order mark is certain, and ASCII is the same in all possible encodings.
        None if mark.is_some() || source.is_ascii() && charset == Charset::UTF_8 => Known::Declared,
        None => Known::Guessed,
    };
    if source.starts_with(b"PK\x03\x04") {
        return Err((
            1,
            "it starts like a zip archive or a workbook; save the table as CSV".to_owned(),
        ));
    }
    // Text that has non-ASCII letters and is valid UTF-8 is hardly ever in another encoding.
    if charset.is_single_byte() && !body.is_ascii() && std::str::from_utf8(body).is_ok() {
        let at = body.iter().position(|byte| !byte.is_ascii()).unwrap_or(0);
        let line = 1 + body[..at].iter().filter(|byte| **byte == b'\n').count();
        let why = format!(
            "the text is UTF-8, and the layout declares {charset}; save the file in that encoding, or correct `encoding`"
        );
        return Err((line, why));
    }
    let text = match charset {
        Charset::Latin1 => mem::decode_latin1(body).into_owned(),
        Charset::Utf16 { big_endian } => {
            let marked = mark.map(|(standard, _)| standard == UTF_16BE);
            let big = marked.unwrap_or_else(|| big_endian || zeros_of_utf16(source) == Some(true));
            utf16(body, if big { UTF_16BE } else { UTF_16LE })?
        }
        Charset::Standard(standard) => strictly(body, standard).map_err(|line| {
            let hint = if standard == UTF_8 {
                let likely = detect::of_bytes(body).name().to_ascii_lowercase();
                format!(
                    "; save it as UTF-8, or declare its encoding in the layout: it may be {likely}"
                )
            } else {
                "; declare its encoding in the layout".to_owned()
            };
            let name = if standard == UTF_8 { "UTF-8".to_owned() } else { charset.to_string() };
            (line, format!("not valid {name}, which the layout declares{hint}"))
        })?,
    };
    if let Some(at) = text.find('\0') {
        let why = match declared {
            Some(_) => "a null character; correct the encoding in the layout",
            None => {
                "a null character, which no table has; save the table as CSV or as a workbook (.xlsx)"
            }
        };
        return Err((line_at_end(&text[..at]), why.to_owned()));
    }
    Ok((text, charset, known))
}

fn utf16(body: &[u8], standard: &'static Standard) -> Result<String, (usize, String)> {
    if body.len() % 2 == 1 {
        let why = "UTF-16 has two bytes per unit, and the file has an odd number of bytes; fetch it again";
        return Err((1, why.to_owned()));
    }
    strictly(body, standard)
        .map_err(|_| (1, "not valid UTF-16; declare its encoding in the layout".to_owned()))
}

/// The text of bytes.
///
/// # Errors
/// With the first line that is not valid in the encoding.
fn strictly(body: &[u8], standard: &'static Standard) -> Result<String, usize> {
    let mut decoder = standard.new_decoder_without_bom_handling();
    let room = decoder.max_utf8_buffer_length_without_replacement(body.len()).unwrap_or(body.len());
    let mut text = String::with_capacity(room);
    let mut read = 0;
    loop {
        let (result, more) =
            decoder.decode_to_string_without_replacement(&body[read..], &mut text, true);
        read += more;
        match result {
            DecoderResult::InputEmpty => return Ok(text),
            DecoderResult::OutputFull => text.reserve(body.len() - read + 16),
            DecoderResult::Malformed(..) => return Err(line_at_end(&text)),
        }
    }
}

/// The bytes of a text, and the characters that the encoding does not have, which are written as
/// question marks.
pub(crate) fn encode(text: &str, charset: Charset) -> (Vec<u8>, Vec<char>) {
    let mut missing: Vec<char> = text.chars().filter(|letter| !charset.has(*letter)).collect();
    missing.sort_unstable();
    missing.dedup();
    let replaced;
    let text = if missing.is_empty() {
        text
    } else {
        replaced = text.replace(missing.as_slice(), "?");
        &replaced
    };
    let units = || std::iter::once(0xFEFF).chain(text.encode_utf16());
    let bytes = match charset {
        Charset::Latin1 => mem::encode_latin1_lossy(text).into_owned(),
        Charset::Utf16 { big_endian: false } => units().flat_map(u16::to_le_bytes).collect(),
        Charset::Utf16 { big_endian: true } => units().flat_map(u16::to_be_bytes).collect(),
        Charset::Standard(standard) => standard.encode(text).0.into_owned(),
    };
    (bytes, missing)
}

#[cfg(test)]
mod tests {
    use encoding_rs::WINDOWS_1252;

    use super::*;

    const UTF_16: Charset = Charset::Utf16 { big_endian: false };
    const CP1252: Charset = Charset::Standard(WINDOWS_1252);
    const ALL: [Charset; 4] = [Charset::UTF_8, CP1252, Charset::Latin1, UTF_16];

    /// WHATWG Encoding standard, index windows-1252: 0x80 is the euro sign, 0x96 the en dash, 0x99
    /// the trade mark sign.
    #[test]
    fn bytes_are_decoded_by_the_standard() {
        let read = |encoding| decode(b"\x80\x96\x99\xE9", Some(encoding)).unwrap().0;
        assert_eq!(read(CP1252), "€–™é");
        assert_eq!(read(Charset::Latin1), "\u{80}\u{96}\u{99}é");
        assert!(
            decode(b"a\nb\xE9", Some(Charset::UTF_8)).unwrap_err().1.starts_with("not valid UTF-8")
        );
        assert_eq!(decode(b"a\nb\xE9", Some(Charset::UTF_8)).unwrap_err().0, 2);
    }

    #[test]
    fn every_single_byte_comes_back() {
        for encoding in [CP1252, Charset::Latin1] {
            let all: Vec<u8> = (1..=255).collect();
            let (text, ..) = decode(&all, Some(encoding)).unwrap();
            assert_eq!(encode(&text, encoding), (all, Vec::new()));
        }
    }

    #[test]
    fn a_byte_order_mark_overrides_the_layout() {
        for declared in ALL {
            let said = |is| if is == declared { Known::Declared } else { Known::Marked };
            let all = Some(declared);
            assert_eq!(
                decode(b"\xEF\xBB\xBFa\xC3\xA9", all),
                Ok(("aé".to_owned(), Charset::UTF_8, said(Charset::UTF_8)))
            );
            assert_eq!(
                decode(b"\xFE\xFF\0a\0\xE9", all),
                Ok(("aé".to_owned(), UTF_16, said(UTF_16)))
            );
            let (written, missing) = encode("aé", declared);
            assert_eq!((decode(&written, all).unwrap().0.as_str(), missing.len()), ("aé", 0));
        }
    }

    /// An encoding without a declaration is guessed, and reported unless it makes no difference or
    /// there is a byte-order mark.
    #[test]
    fn an_undeclared_encoding_is_guessed_and_reported() {
        let utf16 = |big: bool| -> Vec<u8> {
            "DN;Länge"
                .encode_utf16()
                .flat_map(|unit| if big { unit.to_be_bytes() } else { unit.to_le_bytes() })
                .collect()
        };
        let cases: [(&[u8], Charset, Known); 6] = [
            (b"DN;Length", Charset::UTF_8, Known::Declared),
            (b"DN;L\xC3\xA4nge", Charset::UTF_8, Known::Guessed),
            (b"DN;L\xE4nge", CP1252, Known::Guessed),
            (b"\xEF\xBB\xBFDN;L\xC3\xA4nge", Charset::UTF_8, Known::Declared),
            (&utf16(false), UTF_16, Known::Guessed),
            (&utf16(true), UTF_16, Known::Guessed),
        ];
        for (source, encoding, told) in cases {
            let (text, is, how) = decode(source, None).unwrap();
            assert_eq!((is, how), (encoding, told), "{source:?}");
            assert!(text == "DN;Länge" || text == "DN;Length", "{text}");
        }
    }

    /// WHATWG Encoding standard: labels are case-insensitive; those of ISO 8859-1 mean that
    /// standard here.
    #[test]
    fn every_label_of_the_standard_is_read_and_written() {
        let cases: [(&str, &[u8], &str); 9] = [
            ("windows-1250", b"P\xF8\xEDpojka", "P\u{159}\u{ed}pojka"),
            ("CP1251", b"\xD2\xF0\xF3\xE1\xE0", "\u{422}\u{440}\u{443}\u{431}\u{430}"),
            ("iso-8859-2", b"\xA3\xF3d\xBC", "\u{141}\u{f3}d\u{17a}"),
            ("iso-8859-15", b"5 \xA4", "5 \u{20ac}"),
            ("shift_jis", b"\x8A\xC7", "\u{7ba1}"),
            ("gbk", b"\xB9\xDC", "\u{7ba1}"),
            ("latin1", b"\x80\xE9", "\u{80}\u{e9}"),
            ("macintosh", b"B\x8Eton", "B\u{e9}ton"),
            ("utf-16be", b"\xFE\xFF\0a\0\xE9", "a\u{e9}"),
        ];
        for (label, bytes, text) in cases {
            let charset = Charset::of(label).unwrap();
            assert_eq!(decode(bytes, Some(charset)).unwrap().0, text, "{label}");
            assert_eq!(encode(text, charset), (bytes.to_vec(), Vec::new()), "{label}");
        }
        assert_eq!(Charset::of("utf-99"), None);
        let (line, why) = decode(b"a\n\x81\x20", Charset::of("shift_jis")).unwrap_err();
        assert_eq!(
            (line, why.as_str()),
            (
                2,
                "not valid shift_jis, which the layout declares; declare its encoding in the layout"
            )
        );
        assert_eq!(
            encode("a\u{7ba1}\u{e9}", Charset::Standard(encoding_rs::SHIFT_JIS)).1,
            ['\u{e9}']
        );
    }

    #[test]
    fn what_an_encoding_does_not_have_is_named() {
        assert_eq!(encode("a→b→é", CP1252), (b"a?b?\xE9".to_vec(), vec!['→']));
        assert_eq!(encode("–", Charset::Latin1).1, ['–']);
        assert!(decode(b"PK\x03\x04", Some(Charset::Latin1)).is_err());
        assert!(decode(b"a\0", Some(Charset::Latin1)).is_err());
    }
}
