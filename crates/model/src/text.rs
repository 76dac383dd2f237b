//! Texts: an identifier type for each table, and a type for each text with a form, such as a date.
//!
//! ```
//! use obvert_model::text::{PipeId, Timestamp};
//! let id = PipeId::new("L-101")?;
//! let issued: Timestamp = "2026-05-06T16:20:00-05:00".parse()?;
//! assert_eq!(id, "L-101");
//! assert_eq!(PipeId::try_from(String::from("L-101")), Ok(id));
//! assert_eq!(issued.as_str(), "2026-05-06T16:20:00-05:00");
//! assert!("6 May 2026".parse::<Timestamp>().is_err());
//! # Ok::<(), obvert_model::text::TextError>(())
//! ```
//!
//! The empty text is never a value: leave out an unknown value.

use std::fmt;

use serde::de::{Deserializer, Error, Visitor};

texts! {
    /// Any text but the empty one.
    pub Text;
    /// Identifies a survey document; a `urn:uuid:` URI by preference.
    pub DocumentId;
    /// Identifies a party.
    pub PartyId of "parties";
    /// Identifies a piece of equipment.
    pub EquipmentId of "equipment";
    /// Identifies a structure: a manhole, cleanout, outfall or other node.
    pub StructureId of "structures";
    /// Identifies a pipe.
    pub PipeId of "pipes";
    /// Identifies a run, one traverse of the camera.
    pub RunId of "runs";
    /// Identifies an observation within its run.
    pub ObservationId of "runs.observations";
    /// Identifies a media file.
    pub MediaId of "media";
    /// Identifies a locate.
    pub LocateId of "locates";
    /// Identifies a rating.
    pub RatingId of "ratings";
    /// A code of the document's code list.
    pub CodeId;
    /// A horizontal reference system as `authority:code`, for example `EPSG:6494`.
    pub CrsId matches is_crs, r"^[A-Za-z][A-Za-z0-9-]*:[A-Za-z0-9.-]+$", "authority:code, such as EPSG:6494";
    /// A language tag (BCP 47), for example `en` or `de-AT`.
    pub Language matches is_language, r"^[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*$", "a language tag, such as en or de-AT";
    /// A date and time with its offset (RFC 3339 in the strict form of RFC 7493 §4.3), kept as
    /// written. Calendar errors such as 30 February are accepted here and reported by the checker.
    pub Timestamp matches is_timestamp,
        r"^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T([01][0-9]|2[0-3]):[0-5][0-9]:([0-5][0-9]|60)(\.[0-9]+)?(Z|[+-]([01][0-9]|2[0-3]):[0-5][0-9])$",
        "a date, time and offset, such as 2026-05-06T09:31:00-05:00";
    /// A calendar date (RFC 3339 `full-date`).
    pub Date matches is_date, r"^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$", "a date, such as 2026-05-06";
    /// A digest: the algorithm, a colon, and lower-case hexadecimal digits.
    pub Digest matches is_digest, r"^sha-256:[0-9a-f]{64}$", "sha-256: and 64 lower-case hexadecimal digits";
    /// A SHA-256 digest in lower-case hexadecimal digits.
    pub Sha256 matches is_sha256, r"^[0-9a-f]{64}$", "64 lower-case hexadecimal digits";
    /// A media type (RFC 6838), for example `image/jpeg`.
    pub MediaType matches is_media_type,
        r"^[A-Za-z0-9][A-Za-z0-9!#$&^_.+-]*/[A-Za-z0-9][A-Za-z0-9!#$&^_.+-]*$", "a media type, such as image/jpeg";
    /// The name of a file format, for example `geojson`.
    pub FormatName matches is_format_name, r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", "the name of a format, such as geojson";
    /// The name of an extension: a reverse domain name, for example `org.example.dispatch`.
    pub ExtensionKey matches is_reverse_domain,
        r"^[a-z][a-z0-9-]*(\.[a-z0-9][a-z0-9-]*)+$", "a reverse domain name, such as org.example.dispatch";
}

/// Why a text was refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum TextError {
    /// The text is empty.
    #[error("empty text; leave the key out if the value is not known")]
    Empty,
    /// The text does not have the required form.
    #[error("expected {expected}")]
    Form {
        /// The form, with an example.
        expected: &'static str,
    },
}

/// A word that is not in a vocabulary.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{word:?} is not one of {}", words.join(", "))]
pub struct WordError {
    word: String,
    words: &'static [&'static str],
}

impl WordError {
    pub(crate) fn new(word: &str, words: &'static [&'static str]) -> Self {
        Self { word: word.into(), words }
    }

    /// The words of the vocabulary.
    #[must_use]
    pub const fn words(&self) -> &'static [&'static str] {
        self.words
    }
}

/// The candidate that is nearest to a word, if it is near enough. Case, hyphens, underscores,
/// points and spaces are ignored. Letters and digits that look alike, such as O and 0, or Latin and
/// Cyrillic letters, differ less than others do. Of several equally near candidates the last is
/// taken.
///
/// The cost of a comparison grows with the length of both texts, so there is no suggestion for a
/// word of more than 100 characters.
///
/// ```
/// use obvert_model::text::nearest;
/// assert_eq!(nearest("Down_stream", ["upstream", "downstream"]), Some("downstream"));
/// assert_eq!(nearest("MH-1O2", ["MH-102", "MH-112"]), Some("MH-102"));
/// assert_eq!(nearest("sideways", ["upstream", "downstream"]), None);
/// ```
pub fn nearest<'w>(word: &str, candidates: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
    /// The Damerau-Levenshtein distance as a share of the longer text, taken from 1.
    const NEAR: f64 = 0.6;
    /// The same for texts that begin with different letters, which rarely are one word: a root
    /// ball is no outfall.
    const NEAR_WITH_OTHER_START: f64 = 0.72;
    const LONGEST: usize = 100;
    let length = |text: &str| text.chars().count();
    let meant = plain(word);
    let long = length(&meant);
    if long > LONGEST {
        return None;
    }
    let seen = look(&meant);
    let mut best: Option<(f64, f64, &str)> = None;
    for candidate in candidates {
        let other = plain(candidate);
        // The distance is at least the difference in length, which rules out most candidates.
        let longer = long.max(length(&other));
        if long.abs_diff(length(&other)) * 5 > longer * 2 {
            continue;
        }
        let other_look = look(&other);
        let same_start = seen.chars().next() == other_look.chars().next();
        let least = if same_start { NEAR } else { NEAR_WITH_OTHER_START };
        let likeness = strsim::normalized_damerau_levenshtein(&meant, &other);
        let by_look = match seen == meant && other_look == other {
            true => likeness,
            false => strsim::normalized_damerau_levenshtein(&seen, &other_look),
        };
        let nearer = best
            .is_none_or(|(look, most, _)| by_look > look || by_look == look && likeness >= most);
        if by_look.max(likeness) >= least && nearer {
            best = Some((by_look, likeness, candidate));
        }
    }
    best.map(|(_, _, candidate)| candidate)
}

fn plain(text: &str) -> String {
    text.to_lowercase().replace(['-', '_', ' ', '.'], "")
}

/// A text in lower case with one character for each set of characters that look alike.
fn look(text: &str) -> String {
    text.chars().map(look_alike).collect()
}

/// The first of the characters that look like one: digits and Latin letters, then Cyrillic and
/// Greek letters and full-width forms like Latin ones. From memory, after the confusables of Unicode
/// Technical Standard 39.
fn look_alike(letter: char) -> char {
    const ALIKE: [(char, &str); 23] = [
        ('0', "oοоøº"),
        ('1', "li|ıіιӏ!"),
        ('2', "z"),
        ('5', "sѕ"),
        ('6', "б"),
        ('8', "bвβ"),
        ('a', "аαɑ"),
        ('c', "сϲ"),
        ('d', "ԁ"),
        ('e', "еεё"),
        ('h', "һнη"),
        ('j', "јϳ"),
        ('k', "кκ"),
        ('m', "мμ"),
        ('n', "пν"),
        ('p', "рρ"),
        ('r', "г"),
        ('t', "тτ"),
        ('u', "υц"),
        ('v', "ѵ"),
        ('w', "ωѡ"),
        ('x', "хχ"),
        ('y', "уγ"),
    ];
    let letter = match letter {
        // Full-width forms are in the order of ASCII.
        '\u{ff01}'..='\u{ff5e}' => char::from_u32(u32::from(letter) - 0xfee0)
            .map_or(letter, |narrow| narrow.to_ascii_lowercase()),
        _ => letter,
    };
    ALIKE.iter().find(|(_, alike)| alike.contains(letter)).map_or(letter, |(first, _)| *first)
}

pub(crate) fn read<'de, D: Deserializer<'de>, T>(
    source: D,
    make: impl Fn(&str) -> Result<T, TextError>,
) -> Result<T, D::Error> {
    struct Words<F>(F);
    impl<T, F: Fn(&str) -> Result<T, TextError>> Visitor<'_> for Words<F> {
        type Value = T;
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("text")
        }
        fn visit_str<E: Error>(self, text: &str) -> Result<T, E> {
            (self.0)(text).map_err(|error| E::custom(format_args!("{text:?}: {error}")))
        }
    }
    source.deserialize_str(Words(make))
}

// The forms are matched by hand, byte by byte, since this is on the fast path. A property test
// checks that the patterns in the schema accept the same texts.

fn all(text: &str, ok: impl Fn(u8) -> bool) -> bool {
    text.bytes().all(ok)
}

fn is_crs(text: &str) -> bool {
    text.split_once(':').is_some_and(|(authority, code)| {
        authority.bytes().next().is_some_and(|b| b.is_ascii_alphabetic())
            && all(authority, |b| b.is_ascii_alphanumeric() || b == b'-')
            && !code.is_empty()
            && all(code, |b| b.is_ascii_alphanumeric() || b == b'.' || b == b'-')
    })
}

fn is_language(text: &str) -> bool {
    let mut parts = text.split('-');
    parts.next().is_some_and(|p| (2..=8).contains(&p.len()) && all(p, |b| b.is_ascii_alphabetic()))
        && parts.all(|p| (1..=8).contains(&p.len()) && all(p, |b| b.is_ascii_alphanumeric()))
}

fn two(text: &[u8], low: u8, high: u8) -> bool {
    matches!(text, [a @ b'0'..=b'9', b @ b'0'..=b'9'] if (low..=high).contains(&((a - b'0') * 10 + (b - b'0'))))
}

fn is_date(text: &str) -> bool {
    let b = text.as_bytes();
    b.len() == 10
        && b[..4].iter().all(u8::is_ascii_digit)
        && b[4] == b'-'
        && two(&b[5..7], 1, 12)
        && b[7] == b'-'
        && two(&b[8..], 1, 31)
}

fn is_timestamp(text: &str) -> bool {
    let b = text.as_bytes();
    if b.len() < 20 || !text.is_char_boundary(10) || !is_date(&text[..10]) || b[10] != b'T' {
        return false;
    }
    let time = two(&b[11..13], 0, 23)
        && b[13] == b':'
        && two(&b[14..16], 0, 59)
        && b[16] == b':'
        && two(&b[17..19], 0, 60);
    let mut rest = &b[19..];
    if let [b'.', fraction @ ..] = rest {
        let digits = fraction.iter().take_while(|b| b.is_ascii_digit()).count();
        if digits == 0 {
            return false;
        }
        rest = &fraction[digits..];
    }
    time && match rest {
        b"Z" => true,
        [b'+' | b'-', hours @ .., b':', m1, m2] => two(hours, 0, 23) && two(&[*m1, *m2], 0, 59),
        _ => false,
    }
}

fn is_sha256(text: &str) -> bool {
    text.len() == 64 && all(text, |b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b))
}

fn is_digest(text: &str) -> bool {
    text.strip_prefix("sha-256:").is_some_and(is_sha256)
}

fn is_media_type(text: &str) -> bool {
    let part = |p: &str| {
        p.bytes().next().is_some_and(|b| b.is_ascii_alphanumeric())
            && all(p, |b| b.is_ascii_alphanumeric() || b"!#$&^_.+-".contains(&b))
    };
    text.split_once('/').is_some_and(|(kind, subtype)| part(kind) && part(subtype))
}

fn is_format_name(text: &str) -> bool {
    text.bytes().next().is_some_and(|b| b.is_ascii_lowercase())
        && text.split('-').all(|part| all(part, |b| b.is_ascii_lowercase() || b.is_ascii_digit()))
}

fn is_reverse_domain(text: &str) -> bool {
    let label = |p: &str| all(p, |b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
    let mut parts = text.split('.');
    parts
        .next()
        .is_some_and(|p| p.bytes().next().is_some_and(|b| b.is_ascii_lowercase()) && label(p))
        && text.contains('.')
        && parts.all(|p| p.bytes().next().is_some_and(|b| b != b'-') && label(p))
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn look_alikes_are_nearer_than_other_letters() {
        for (word, candidates, near) in [
            ("L-1O2", ["L-102", "L-112"], "L-102"),
            ("L-l02", ["L-102", "L-302"], "L-102"),
            ("MH-5OB", ["MH-508", "MH-50C"], "MH-508"),
            ("S0UTH", ["SOUTH", "SHUTH"], "SOUTH"),
            // Cyrillic, Greek and full-width letters.
            ("РУМП", ["PYMN", "PUMP"], "PYMN"),
            ("ΑB-1", ["AB-1", "CB-1"], "AB-1"),
            ("Ｌ－１０１", ["L-101", "L-102"], "L-101"),
        ] {
            assert_eq!(nearest(word, candidates), Some(near), "{word}");
            let [a, b] = candidates;
            assert_eq!(nearest(word, [b, a]), Some(near), "{word} in the other order");
        }
    }

    #[test]
    fn unlike_words_are_not_near() {
        for (word, candidate) in
            [("root ball", "outfall"), ("foul", "other"), ("cctv", "met"), ("silt", "belt")]
        {
            assert_eq!(nearest(word, [candidate]), None, "{word}");
        }
    }
}
