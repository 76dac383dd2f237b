//! The encoding of bytes and of texts, by what they look like: of bytes whose encoding is not
//! declared, and of texts that were read in an encoding of single bytes, which accepts any bytes.
//! The detector is that of the Firefox browser.

use std::collections::HashSet;

use chardetng::{EncodingDetector, Iso2022JpDetection, Utf8Detection};
use encoding_rs::{
    Encoding, WINDOWS_1250, WINDOWS_1251, WINDOWS_1252, WINDOWS_1253, WINDOWS_1254, WINDOWS_1257,
};
use obvert_model::misread::{Damage, damage};

/// The encodings in which texts may have been read by mistake.
const READ_AS: [&Encoding; 6] =
    [WINDOWS_1252, WINDOWS_1250, WINDOWS_1251, WINDOWS_1253, WINDOWS_1254, WINDOWS_1257];
/// How many bytes of texts are kept for detection.
const ENOUGH: usize = 64 * 1024;
/// The number of different words that must look like another encoding.
const SURE: usize = 3;

/// The most likely encoding of bytes that are not UTF-8.
pub(crate) fn of_bytes(bytes: &[u8]) -> &'static Encoding {
    let mut detector = EncodingDetector::new(Iso2022JpDetection::Deny);
    detector.feed(bytes, true);
    detector.guess(None, Utf8Detection::Deny)
}

/// Texts that may have been read in a wrong encoding.
#[derive(Default)]
pub(crate) struct Texts {
    words: Vec<String>,
    known: HashSet<String>,
    length: usize,
    /// The number of damaged cells, and the first of them.
    damaged: usize,
    first: Option<Damaged>,
    /// The number of cells with a question mark between letters, and the first of them.
    questions: usize,
    question: Option<(String, String)>,
}

/// A damaged cell.
struct Damaged {
    text: String,
    place: String,
    /// The text that was meant, if it is known.
    meant: Option<String>,
}

impl Texts {
    /// Adds the text of a cell; `place` is called for the first damaged ones.
    pub(crate) fn add(&mut self, text: &str, place: impl Fn() -> String) {
        let is_odd = |byte: u8| byte == b'?' || byte < b' ' || byte == 0x7F;
        if text.is_ascii() && !text.bytes().any(is_odd) {
            return;
        }
        if let Some(damage) = damage(text) {
            self.damaged += 1;
            self.first.get_or_insert_with(|| Damaged {
                text: short(text),
                place: place(),
                meant: match damage {
                    Damage::Misread(misread) => Some(short(&misread.original)),
                    _ => None,
                },
            });
        }
        if has_lost_letter(text) {
            self.questions += 1;
            self.question.get_or_insert_with(|| (short(text), place()));
        }
        if self.length < ENOUGH {
            for word in text.split_whitespace().filter(|word| !word.is_ascii()) {
                if self.known.insert(word.to_owned()) {
                    self.length += word.len();
                    self.words.push(word.to_owned());
                }
            }
        }
    }

    /// What looks wrong, each with what to do.
    pub(crate) fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if let Some(Damaged { text, place, meant }) = &self.first {
            let cells = counted(self.damaged, "is", "are");
            notes.push(match meant {
                Some(meant) => format!(
                    "{cells} garbled, first {place}: {text:?} is UTF-8 that was read in another encoding, probably {meant:?}; export the \
                     table again as UTF-8, and set encoding to utf-8 in the layout"
                ),
                None => format!(
                    "{cells} garbled, first {place}: {text:?} has a character in place of a letter that was lost; export the table again \
                     as UTF-8"
                ),
            });
        } else {
            notes.extend(self.wrong_page());
        }
        if let Some((text, place)) = &self.question {
            let cells = counted(self.questions, "has", "have");
            notes.push(format!(
                "{cells} a question mark inside a word, first {place}: {text:?}; letters may have been lost, so export the table again as \
                 UTF-8"
            ));
        }
        notes
    }

    /// A note if the texts were probably read in a wrong encoding of single bytes: the first one
    /// that has all their letters is the one that they were read in.
    fn wrong_page(&self) -> Option<String> {
        let (read_as, bytes) = READ_AS.iter().find_map(|read_as| {
            let bytes = self.words.iter().map(|word| {
                let (bytes, _, is_lacking) = read_as.encode(word);
                (!is_lacking).then(|| bytes.into_owned())
            });
            Some((read_as, bytes.collect::<Option<Vec<_>>>()?))
        })?;
        let likely = of_bytes(&bytes.join(&b' '));
        let meant = |bytes: &[u8]| likely.decode_without_bom_handling(bytes).0.into_owned();
        let mut wrong = self
            .words
            .iter()
            .zip(&bytes)
            .map(|(word, bytes)| (word, meant(bytes)))
            .filter(|(word, meant)| *word != meant);
        let (word, meant) = wrong.next()?;
        let count = 1 + wrong.count();
        let (label, read_as) =
            (likely.name().to_ascii_lowercase(), read_as.name().to_ascii_lowercase());
        (likely.is_single_byte() && count >= SURE).then(|| {
            format!(
                "{count} words look like {label} that was read as {read_as}, such as {word:?} for {meant:?}; if they are, set encoding to \
                 {label} in the layout, or export the table again as UTF-8"
            )
        })
    }
}

fn counted(count: usize, one: &str, many: &str) -> String {
    if count == 1 { format!("1 cell {one}") } else { format!("{count} cells {many}") }
}

/// The beginning of a text, for a message.
fn short(text: &str) -> String {
    const LONGEST: usize = 40;
    let cut: String = text.chars().take(LONGEST).collect();
    if cut.len() < text.len() { format!("{cut}…") } else { cut }
}

/// Whether a text has a question mark inside a word, as in `L?ngsriss`. A web address has one
/// before its query.
fn has_lost_letter(text: &str) -> bool {
    let mut marks = text.match_indices('?').filter(|(at, _)| {
        let (before, after) = (&text[..*at], &text[at + 1..]);
        before.ends_with(char::is_alphabetic) && after.starts_with(char::is_lowercase)
    });
    !text.contains("://") && marks.next().is_some()
}

#[cfg(test)]
mod tests;
