//! Texts that were damaged by a wrong character encoding: UTF-8 that was read as an encoding of
//! single bytes, such as `PĹ™Ă­bram` for Příbram, and letters that were lost.
//!
//! ```
//! use obvert_model::misread::{Damage, damage};
//! let Some(Damage::Misread(misread)) = damage("MÃ¼hlgasse") else { return Err("not found") };
//! assert_eq!((&*misread.original, &*misread.read_as), ("Mühlgasse", "windows-1252"));
//! assert_eq!(damage("Mühlgasse"), None);
//! # Ok::<(), &str>(())
//! ```

use encoding_rs::{
    Encoding, IBM866, ISO_8859_2, ISO_8859_4, ISO_8859_13, ISO_8859_15, KOI8_R, KOI8_U, MACINTOSH,
    WINDOWS_1250, WINDOWS_1251, WINDOWS_1252, WINDOWS_1253, WINDOWS_1254, WINDOWS_1257,
};

/// The encodings that UTF-8 is read as by mistake, the most common first.
const READ_AS: [&Encoding; 14] = [
    WINDOWS_1252,
    WINDOWS_1250,
    WINDOWS_1251,
    WINDOWS_1253,
    WINDOWS_1254,
    WINDOWS_1257,
    ISO_8859_2,
    ISO_8859_15,
    ISO_8859_13,
    ISO_8859_4,
    KOI8_R,
    KOI8_U,
    IBM866,
    MACINTOSH,
];

/// How a text is damaged.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Damage {
    /// It is UTF-8 that was read as another encoding.
    Misread(Misread),
    /// It has a control character or the replacement character in place of a letter.
    Lost,
}

/// A text in UTF-8 that was read as another encoding.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Misread {
    /// The text with the misread letters as they were meant.
    pub original: String,
    /// The label of the encoding that it was read as.
    pub read_as: String,
}

/// How a text is damaged; `None` if it shows no damage.
#[must_use]
pub fn damage(text: &str) -> Option<Damage> {
    if text.is_ascii() {
        return text.chars().any(is_control).then_some(Damage::Lost);
    }
    if let Some(misread) = misread(text) {
        return Some(Damage::Misread(misread));
    }
    let is_lost = |letter: char| letter == char::REPLACEMENT_CHARACTER || is_control(letter);
    text.chars().any(is_lost).then_some(Damage::Lost)
}

fn is_control(letter: char) -> bool {
    letter.is_control() && !matches!(letter, '\t' | '\n' | '\r')
}

/// The text as it was meant, if it is UTF-8 that was read as another encoding.
fn misread(text: &str) -> Option<Misread> {
    // A letter beyond ASCII has at least two bytes in UTF-8, none of them ASCII. Most texts in
    // Western languages have no two such characters in a row.
    let pair = |(a, b): (char, char)| !a.is_ascii() && !b.is_ascii();
    if !text.chars().zip(text.chars().skip(1)).any(pair) {
        return None;
    }
    READ_AS.iter().find_map(|encoding| {
        let original = restored(text, encoding)?;
        Some(Misread { original, read_as: encoding.name().to_ascii_lowercase() })
    })
}

/// The text with each sequence of letters beyond ASCII decoded as UTF-8 where that is possible;
/// `None` if none is certain.
fn restored(text: &str, encoding: &'static Encoding) -> Option<String> {
    let mut restored = String::with_capacity(text.len());
    let (mut rest, mut is_certain) = (text, false);
    // Three small letters of another alphabet can be a word, and look like one sign of the East.
    let is_latin = ![WINDOWS_1251, WINDOWS_1253, KOI8_R, KOI8_U, IBM866].contains(&encoding);
    while !rest.is_empty() {
        let plain = rest.find(|letter: char| !letter.is_ascii()).unwrap_or(rest.len());
        let (ascii, more) = rest.split_at(plain);
        restored.push_str(ascii);
        let end = more.find(|letter: char| letter.is_ascii()).unwrap_or(more.len());
        let (run, after) = more.split_at(end);
        if !run.is_empty() {
            let (bytes, _, is_lacking) = encoding.encode(run);
            let meant = std::str::from_utf8(&bytes).ok().filter(|_| !is_lacking);
            let meant = meant.filter(|meant| {
                meant.chars().all(|letter| is_likely(letter) && (is_latin || !is_eastern(letter)))
            });
            is_certain |= meant.is_some_and(|meant| is_certain_run(run, meant, (ascii, after)));
            restored.push_str(meant.unwrap_or(run));
        }
        rest = after;
    }
    is_certain.then_some(restored)
}

/// Whether a letter is one of those that tables have: letters of European alphabets, or a sign.
fn is_likely(letter: char) -> bool {
    matches!(letter,
        '\u{a0}'..='\u{24f}' | '\u{370}'..='\u{45f}' | '\u{490}'..='\u{491}'
        | '\u{1e00}'..='\u{1eff}' | '\u{2010}'..='\u{203a}' | '\u{20ac}' | '\u{2116}' | '\u{2122}'
        | '\u{2190}'..='\u{22ff}' | '\u{3040}'..='\u{30ff}' | '\u{4e00}'..='\u{9fff}')
}

fn is_eastern(letter: char) -> bool {
    letter >= '\u{2190}'
}

/// Whether letters were certainly misread. A letter before a dash or a quotation mark can look the
/// same, so a single pair must be inside a word, or its second character must be one that follows
/// no letter.
fn is_certain_run(run: &str, meant: &str, (before, after): (&str, &str)) -> bool {
    let mut letters = run.chars();
    let (first, second) = (letters.next(), letters.next());
    if meant.chars().count() > 1 || meant.len() > 2 {
        return true;
    }
    let follows = |letter: char| {
        letter.is_alphabetic()
            || ('\u{2010}'..='\u{203a}').contains(&letter)
            || "«»".contains(letter)
    };
    let is_capital = first.is_some_and(char::is_uppercase);
    let is_within = after.starts_with(|letter: char| letter.is_ascii_lowercase())
        && (before.is_empty() || before.ends_with(|letter: char| letter.is_ascii_alphabetic()));
    // The first byte of most Western letters, then a character of its second half.
    let is_western = first.is_some_and(|first| matches!(first, 'Â' | 'Ã'));
    match second {
        Some(second) if ('\u{80}'..='\u{bf}').contains(&second) && is_western => {
            // «RUA DA MANHÃ»: what is misread would be a small letter among capitals.
            let is_in_capitals = before.ends_with(|letter: char| letter.is_ascii_uppercase())
                && !after.starts_with(|letter: char| letter.is_ascii_lowercase());
            !(first == Some('Ã') && second >= '\u{a0}' && is_in_capitals)
        }
        Some(second) if !follows(second) => true,
        Some(_) => is_capital && is_within,
        None => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// UTF-8 read as other encodings, made with Python's codecs:
    /// `text.encode("utf-8").decode(encoding)`.
    #[test]
    fn misread_texts_are_found_in_every_alphabet() {
        for (text, original, read_as) in [
            ("Ã¼", "ü", "windows-1252"),
            ("45Â°", "45°", "windows-1252"),
            ("itâ€™s", "it’s", "windows-1252"),
            ("ZoÃ«", "Zoë", "windows-1252"),
            ("â€œ", "“", "windows-1252"),
            ("PĹ™Ă\u{AD}bram", "Příbram", "windows-1250"),
            ("Ĺ‚Ä…ka", "łąka", "windows-1250"),
            ("MĂĽhlgasse", "Mühlgasse", "windows-1250"),
            ("Ð¢Ñ€ÑƒÐ±Ð°", "Труба", "windows-1252"),
            ("РўСЂСѓР±Р°", "Труба", "windows-1251"),
            ("Î£Ï‰Î»Î®Î½Î±Ï‚", "Σωλήνας", "windows-1252"),
            ("Ξ£Ο‰Ξ»Ξ®Ξ½Ξ±Ο‚", "Σωλήνας", "windows-1253"),
            ("Å½vyro gatvÄ—", "Žvyro gatvė", "windows-1252"),
            ("ÄŸÄ±ÅŸÄ°", "ğışİ", "windows-1252"),
            ("п╒я─я┐п╠п╟", "Труба", "koi8-r"),
            ("Ã‡atlak", "Çatlak", "windows-1252"),
            ("Größe Ã¼ber", "Größe über", "windows-1252"),
        ] {
            let Some(Damage::Misread(misread)) = damage(text) else { panic!("{text}") };
            assert_eq!((&*misread.original, &*misread.read_as), (original, read_as), "{text}");
        }
        for text in ["GoÃ»t", "Â«RueÂ»", "LTDÂ\u{a0}", "SÃ\u{83}O"] {
            assert!(matches!(damage(text), Some(Damage::Misread(_))), "{text}");
        }
        for text in ["caf\u{fffd}", "Gr\u{81}n", "LPB\u{1b}118", "\u{7f}"] {
            assert_eq!(damage(text), Some(Damage::Lost), "{text}");
        }
    }

    #[test]
    fn texts_of_every_alphabet_are_not_damaged() {
        for text in [
            "ü",
            "45°",
            "it’s",
            "Zoë",
            "SÃO",
            "ÂGE",
            "“Å”",
            "«KÖ»",
            "«RUA DA MANHÃ»",
            "AMANHÃ\u{a0}CEDO",
            "Ä–",
            "10 ½",
            "Straße",
            "â",
            "日本",
            "one\r\n\ttwo",
            "Příbram",
            "łąka",
            "Труба",
            "Рівне",
            "Σωλήνας",
            "ΟΔΟΣ",
            "Çatlak",
            "ŞIŞLI",
            "Žvyro gatvė",
            "Õhtu",
            "Œuvre",
            "naïve",
            "Straße – “Ä”",
            "№ 5",
            "5 × 3 m²",
            "шла",
            "вершин",
            "шли мы",
        ] {
            assert_eq!(damage(text), None, "{text}");
        }
    }
}
