//! The bytes of a table as text and back, in the encodings that office systems write. What a layout declares is not guessed at; only a
//! byte-order mark, which says for certain, overrides it. What no layout declares is guessed, and the guess is said.

use obvert_model::layout::Encoding;

/// What the bytes 0x80 to 0x9F mean in Windows-1252 (WHATWG Encoding standard, index windows-1252; the five bytes that
/// Windows leaves open are the control characters of the same number).
const WINDOWS_1252: [char; 32] = [
    '\u{20AC}', '\u{81}', '\u{201A}', '\u{192}', '\u{201E}', '\u{2026}', '\u{2020}', '\u{2021}', '\u{2C6}', '\u{2030}',
    '\u{160}', '\u{2039}', '\u{152}', '\u{8D}', '\u{17D}', '\u{8F}', '\u{90}', '\u{2018}', '\u{2019}', '\u{201C}',
    '\u{201D}', '\u{2022}', '\u{2013}', '\u{2014}', '\u{2DC}', '\u{2122}', '\u{161}', '\u{203A}', '\u{153}', '\u{9D}',
    '\u{17E}', '\u{178}',
];

/// What there is to say of how the encoding came to be known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Told {
    /// Nothing: it is as declared, or makes no difference.
    Plain,
    /// A byte-order mark says another than declared.
    Marked,
    /// Nothing declares it.
    Guessed,
}

/// The encoding that bytes without a byte-order mark are most likely in, and whether UTF-16 is big-endian.
fn guess(source: &[u8]) -> (Encoding, bool) {
    let start = &source[..source.len().min(4096)];
    let zeros = |odd: usize| start.iter().skip(odd).step_by(2).filter(|byte| **byte == 0).count();
    let (even, odd) = (zeros(0), zeros(1));
    // Tables are Latin letters and digits for the most part, which have a zero in one of their two bytes.
    if start.len() > 3 && even.max(odd) * 4 > start.len() {
        return (Encoding::Utf16, even > odd);
    }
    if std::str::from_utf8(source).is_ok() { (Encoding::Utf8, false) } else { (Encoding::Windows1252, false) }
}

/// The text of a table and its encoding, with what there is to say of that.
///
/// # Errors
/// With the line, from 1, that cannot be read, and why.
pub(super) fn decode(source: &[u8], declared: Option<Encoding>) -> Result<(String, Encoding, Told), (usize, String)> {
    let (encoding, body, big) = match (source, declared) {
        ([0xEF, 0xBB, 0xBF, rest @ ..], _) => (Encoding::Utf8, rest, false),
        ([0xFF, 0xFE, rest @ ..], _) => (Encoding::Utf16, rest, false),
        ([0xFE, 0xFF, rest @ ..], _) => (Encoding::Utf16, rest, true),
        // Which of its two bytes comes first, the encoding does not say.
        (_, Some(Encoding::Utf16)) => (Encoding::Utf16, source, matches!(guess(source), (Encoding::Utf16, true))),
        (_, Some(declared)) => (declared, source, false),
        (_, None) => {
            let (guessed, big) = guess(source);
            (guessed, source, big)
        }
    };
    let told = match declared {
        Some(declared) if declared == encoding => Told::Plain,
        Some(_) => Told::Marked,
        // A mark says it for certain, and ASCII is the same in all that it could be.
        None if body.len() < source.len() || source.is_ascii() && encoding == Encoding::Utf8 => Told::Plain,
        None => Told::Guessed,
    };
    if source.starts_with(b"PK\x03\x04") {
        return Err((1, "it begins like a zip archive or a workbook; save the table as CSV".to_owned()));
    }
    // Letters beyond ASCII that are UTF-8 from the first to the last are seldom anything else by chance.
    if matches!(encoding, Encoding::Windows1252 | Encoding::Iso88591)
        && !body.is_ascii()
        && std::str::from_utf8(body).is_ok()
    {
        let at = body.iter().position(|byte| !byte.is_ascii()).unwrap_or(0);
        let line = 1 + body[..at].iter().filter(|byte| **byte == b'\n').count();
        let why = format!(
            "UTF-8 here, and the layout says that the table is {encoding}; save it in that, or correct `encoding`"
        );
        return Err((line, why));
    }
    let text = match encoding {
        Encoding::Utf8 => std::str::from_utf8(body).map(str::to_owned).map_err(|error| {
            let line = 1 + body[..error.valid_up_to()].iter().filter(|byte| **byte == b'\n').count();
            (line, "not UTF-8 here, as the layout says the table is; was it saved in windows-1252?".to_owned())
        })?,
        Encoding::Windows1252 | Encoding::Iso88591 => body.iter().map(|byte| single(*byte, encoding)).collect(),
        Encoding::Utf16 => {
            if body.len() % 2 == 1 {
                return Err((
                    1,
                    "UTF-16 has two bytes a unit, and this table has an odd number; is it cut off?".to_owned(),
                ));
            }
            let unit = |pair: &[u8]| {
                let pair = [pair[0], pair[1]];
                if big { u16::from_be_bytes(pair) } else { u16::from_le_bytes(pair) }
            };
            let units: Vec<u16> = body.chunks_exact(2).map(unit).collect();
            String::from_utf16(&units)
                .map_err(|_| (1, "not UTF-16, as it is said to be; is it in another encoding?".to_owned()))?
        }
    };
    if let Some(at) = text.find('\0') {
        let line = 1 + text[..at].matches('\n').count();
        let why = match declared {
            Some(_) => "a null character, so this is no text in the encoding that the layout says",
            None => "a null character, which no table has; is this a table? save it as CSV or as a workbook (.xlsx)",
        };
        return Err((line, why.to_owned()));
    }
    Ok((text, encoding, told))
}

fn single(byte: u8, encoding: Encoding) -> char {
    match byte {
        0x80..=0x9F if encoding == Encoding::Windows1252 => WINDOWS_1252[usize::from(byte - 0x80)],
        _ => char::from(byte),
    }
}

/// Whether an encoding has a character.
pub(super) fn has(letter: char, encoding: Encoding) -> bool {
    letter.is_ascii() || matches!(encoding, Encoding::Utf8 | Encoding::Utf16) || byte_of(letter, encoding).is_some()
}

/// The one byte of a character, in an encoding that has one for each.
fn byte_of(letter: char, encoding: Encoding) -> Option<u8> {
    let own = (0x80..=0x9F).find(|byte| single(*byte, encoding) == letter);
    own.or_else(|| u8::try_from(u32::from(letter)).ok().filter(|byte| single(*byte, encoding) == letter))
}

/// The bytes of a text, and the characters that the encoding does not have, which become question marks.
pub(super) fn encode(text: &str, encoding: Encoding) -> (Vec<u8>, Vec<char>) {
    let mut missing = Vec::new();
    let bytes = match encoding {
        Encoding::Utf8 => text.as_bytes().to_vec(),
        Encoding::Utf16 => std::iter::once(0xFEFF).chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect(),
        Encoding::Windows1252 | Encoding::Iso88591 => {
            let mut byte = |character: char| {
                if character.is_ascii() {
                    return character as u8;
                }
                byte_of(character, encoding).unwrap_or_else(|| {
                    missing.push(character);
                    b'?'
                })
            };
            text.chars().map(&mut byte).collect()
        }
    };
    missing.sort_unstable();
    missing.dedup();
    (bytes, missing)
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Encoding; 4] = [Encoding::Utf8, Encoding::Windows1252, Encoding::Iso88591, Encoding::Utf16];

    /// WHATWG Encoding standard, index windows-1252: 0x80 is the euro sign, 0x96 the en dash, 0x99 the trade mark sign.
    #[test]
    fn bytes_mean_what_the_standard_says() {
        let read = |encoding| decode(b"\x80\x96\x99\xE9", Some(encoding)).unwrap().0;
        assert_eq!(read(Encoding::Windows1252), "€–™é");
        assert_eq!(read(Encoding::Iso88591), "\u{80}\u{96}\u{99}é");
        assert!(decode(b"a\nb\xE9", Some(Encoding::Utf8)).unwrap_err().1.starts_with("not UTF-8 here"));
        assert_eq!(decode(b"a\nb\xE9", Some(Encoding::Utf8)).unwrap_err().0, 2);
    }

    #[test]
    fn every_single_byte_comes_back() {
        for encoding in [Encoding::Windows1252, Encoding::Iso88591] {
            let all: Vec<u8> = (1..=255).collect();
            let (text, ..) = decode(&all, Some(encoding)).unwrap();
            assert_eq!(encode(&text, encoding), (all, Vec::new()));
        }
    }

    #[test]
    fn a_byte_order_mark_overrides_the_layout() {
        for declared in ALL {
            let said = |is| if is == declared { Told::Plain } else { Told::Marked };
            let all = Some(declared);
            assert_eq!(
                decode(b"\xEF\xBB\xBFa\xC3\xA9", all),
                Ok(("aé".to_owned(), Encoding::Utf8, said(Encoding::Utf8)))
            );
            assert_eq!(
                decode(b"\xFE\xFF\0a\0\xE9", all),
                Ok(("aé".to_owned(), Encoding::Utf16, said(Encoding::Utf16)))
            );
            let (written, missing) = encode("aé", declared);
            assert_eq!((decode(&written, all).unwrap().0.as_str(), missing.len()), ("aé", 0));
        }
    }

    /// What nobody declares is guessed, and said unless it makes no difference or a mark says it.
    #[test]
    fn an_encoding_that_is_not_declared_is_guessed_and_said() {
        let utf16 = |big: bool| -> Vec<u8> {
            "DN;Länge"
                .encode_utf16()
                .flat_map(|unit| if big { unit.to_be_bytes() } else { unit.to_le_bytes() })
                .collect()
        };
        let cases: [(&[u8], Encoding, Told); 6] = [
            (b"DN;Length", Encoding::Utf8, Told::Plain),
            (b"DN;L\xC3\xA4nge", Encoding::Utf8, Told::Guessed),
            (b"DN;L\xE4nge", Encoding::Windows1252, Told::Guessed),
            (b"\xEF\xBB\xBFDN;L\xC3\xA4nge", Encoding::Utf8, Told::Plain),
            (&utf16(false), Encoding::Utf16, Told::Guessed),
            (&utf16(true), Encoding::Utf16, Told::Guessed),
        ];
        for (source, encoding, told) in cases {
            let (text, is, how) = decode(source, None).unwrap();
            assert_eq!((is, how), (encoding, told), "{source:?}");
            assert!(text == "DN;Länge" || text == "DN;Length", "{text}");
        }
    }

    #[test]
    fn what_an_encoding_does_not_have_is_named() {
        assert_eq!(encode("a→b→é", Encoding::Windows1252), (b"a?b?\xE9".to_vec(), vec!['→']));
        assert_eq!(encode("–", Encoding::Iso88591).1, ['–']);
        assert!(decode(b"PK\x03\x04", Some(Encoding::Iso88591)).is_err());
        assert!(decode(b"a\0", Some(Encoding::Iso88591)).is_err());
    }
}
