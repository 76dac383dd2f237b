//! The words that people use as headings and values, in English and German and some French,
//! Spanish, Dutch and Italian: plain words and words of the trade, not of a single office. They are
//! data, in `words.json`. This module reads them, splits a heading into words, without accents and
//! units, and compares them.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::OnceLock;

use obvert_model::layout::{Record, Target};
use obvert_model::shape::Shape;
use obvert_model::synonyms::{self, Synonym};
use obvert_model::tables::QuantityUnit;
use obvert_model::text::nearest;
use serde::Deserialize;

use super::choice::directions;

/// The role of a column in a layout.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub(super) enum Role {
    /// It holds a field.
    Field(Target),
    /// It has codes, or words for codes.
    Codes,
    /// It has further words for codes.
    CodeDetail,
    /// It marks the start and end of stretches.
    Stretch,
}

impl TryFrom<String> for Role {
    type Error = String;
    fn try_from(text: String) -> Result<Self, String> {
        match text.as_str() {
            "codes" => Ok(Self::Codes),
            "codes.detail" => Ok(Self::CodeDetail),
            "stretch" => Ok(Self::Stretch),
            path => Target::named(path)
                .map(Self::Field)
                .ok_or_else(|| format!("there is no field {path}")),
        }
    }
}

impl Role {
    /// The record that an element of a row must be to have it.
    pub(super) fn record(self) -> Record {
        match self {
            Self::Field(target) => target.record(),
            Self::Codes | Self::CodeDetail | Self::Stretch => Record::Observation,
        }
    }
}

/// A meaning that a column can have: the pattern of its values, and the words for it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Meaning {
    /// Its role in a layout.
    #[serde(rename = "to")]
    pub(super) role: Role,
    pub(super) wants: Wants,
    /// The list of [`Vocabulary::values`] that its words are from, if there is one.
    pub(super) words: Option<String>,
    /// Its name in reasons.
    pub(super) is: String,
    /// A phrase matches if all its words are in the heading.
    pub(super) phrases: Vec<String>,
}

impl Meaning {
    /// Whether it is a field.
    pub(super) fn is_field(&self, target: Target) -> bool {
        self.role == Role::Field(target)
    }
}

/// The expected pattern of the values of a column.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Wants {
    Text,
    /// Few different words.
    Word,
    Number,
    /// A number, a station, or feet and inches.
    Distance,
    /// A number or an amount with its unit.
    Amount,
    /// A date, a time of day, or both.
    Moment,
    Clock,
    Hour,
    Yes,
    Grade,
    Picture,
    Recording,
    Offset,
    Stretch,
    Letters,
    Year,
    /// A word for a unit.
    Unit,
}

/// The vocabulary, by meaning.
pub(super) type Words = BTreeMap<String, Vec<String>>;

/// All known words.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Vocabulary {
    /// All meanings that a draft can find, more specific ones first.
    #[serde(rename = "targets")]
    pub(super) meanings: Vec<Meaning>,
    /// Words for units in headings, which do not tell what is measured.
    units: Words,
    /// Words and signs for units after numbers.
    cell_units: Words,
    /// Words of headings without meaning.
    bare: BTreeSet<String>,
    /// Words for values, by the name of their list.
    values: BTreeMap<String, Words>,
    /// Words in headings of dates.
    pub(super) dates: BTreeSet<String>,
    /// Words in headings of times of day.
    pub(super) times: BTreeSet<String>,
    yes: Vec<String>,
    no: Vec<String>,
    /// Words of offices for words of the code list.
    codes: Words,
}

/// The vocabulary.
pub(super) fn vocabulary() -> &'static Vocabulary {
    static WORDS: OnceLock<Vocabulary> = OnceLock::new();
    // Embedded, and read by a test; without it, nothing would be recognised, but nothing would
    // fail.
    WORDS.get_or_init(|| serde_json::from_str(include_str!("words.json")).unwrap_or_default())
}

/// The meaning of a field.
pub(super) fn meaning_of(target: Target) -> Option<&'static Meaning> {
    vocabulary().meanings.iter().find(|meaning| meaning.is_field(target))
}

/// The list of words of a meaning.
fn list(meaning: &Meaning) -> Option<&'static Words> {
    vocabulary().values.get(meaning.words.as_ref()?)
}

/// The synonyms of the trade for a text, ignoring case, accents, hyphens and a plural. Many values
/// are looked up.
pub(super) fn synonyms_of(text: &str) -> &'static [&'static Synonym] {
    static KNOWN: OnceLock<HashMap<String, Vec<&'static Synonym>>> = OnceLock::new();
    let known = KNOWN.get_or_init(|| {
        let mut known: HashMap<String, Vec<&'static Synonym>> = HashMap::new();
        for synonym in synonyms::all() {
            for word in &synonym.words {
                known.entry(words(word).join(" ")).or_default().push(synonym);
            }
        }
        known
    });
    let own = words(text).join(" ");
    let singular = || own.strip_suffix('s').and_then(|own| known.get(own));
    known.get(&own).or_else(singular).map_or(&[], Vec::as_slice)
}

/// The value of a field that a synonym of the trade has.
fn by_synonym(text: &str, meaning: &Meaning) -> Option<&'static str> {
    let Role::Field(target) = meaning.role else { return None };
    let mut values = synonyms_of(text).iter().filter_map(|synonym| {
        match synonym.values.get(target.path()).map(Vec::as_slice) {
            Some([value]) => Some(value.as_str()),
            _ => None,
        }
    });
    let value = values.next()?;
    values.all(|other| other == value).then_some(value)
}

/// The value of a field that a text probably means: by the words for it, by a synonym of the trade,
/// or by a word that is spelled alike.
pub(super) fn probably_meant(text: &str, target: Target) -> Option<&'static str> {
    let Shape::Word(values) = target.shape() else { return None };
    let by_word = meaning_of(target).and_then(|meaning| meant(text, meaning));
    let by_synonym = || {
        let mut found = synonyms_of(text)
            .iter()
            .filter_map(|synonym| synonym.values.get(target.path())?.first());
        found.next().map(String::as_str)
    };
    let alike = || {
        let phrases = meaning_of(target).and_then(list).into_iter().flatten();
        let words = phrases.flat_map(|(value, words)| words.iter().map(move |word| (word, value)));
        let words: Vec<(&str, &str)> = words
            .map(|(word, value)| (word.as_str(), value.as_str()))
            .chain(values.iter().map(|value| (value.as_str(), value.as_str())))
            .collect();
        let near = nearest(&self::words(text).join(" "), words.iter().map(|(word, _)| *word))?;
        words.iter().find(|(word, _)| *word == near).map(|(_, value)| *value)
    };
    by_word.or_else(by_synonym).or_else(alike)
}

/// The unit in a heading.
pub(super) fn unit_in(heading: &[String]) -> Option<QuantityUnit> {
    unit_with(&vocabulary().units, |words| heading.iter().any(|own| words.contains(own)))
}

/// The unit of a word or sign.
pub(super) fn unit_of(word: &str) -> Option<QuantityUnit> {
    let own = words(word);
    unit_with(&vocabulary().cell_units, |known| known.iter().any(|known| known == word)).or_else(
        || unit_with(&vocabulary().units, |known| own.len() == 1 && known.contains(&own[0])),
    )
}

/// The unit whose words match.
fn unit_with(units: &Words, is: impl Fn(&[String]) -> bool) -> Option<QuantityUnit> {
    units
        .iter()
        .find(|(_, words)| is(words))
        .and_then(|(unit, _)| unit.parse::<QuantityUnit>().ok())
}

/// The value that a text has by the words of a meaning: that of the longest phrase in it, and of
/// equally long ones that of the first. A text "from one end to the other" is a direction, but the
/// words do not show which.
pub(super) fn meant(text: &str, meaning: &Meaning) -> Option<&'static str> {
    let list = list(meaning)?;
    let own = words(text);
    let found =
        list.iter().flat_map(|(value, phrases)| phrases.iter().map(move |phrase| (value, phrase)));
    let at = |phrase: &str| -> Option<usize> {
        let places = phrase.split(' ').map(|part| own.iter().position(|word| word == part));
        places.collect::<Option<Vec<usize>>>().and_then(|places| places.into_iter().min())
    };
    let found =
        found.filter_map(|(value, phrase)| Some((value, phrase.split(' ').count(), at(phrase)?)));
    let best = found.clone().max_by_key(|(_, long, at)| (*long, std::cmp::Reverse(*at)));
    let Some((value, longest, _)) = best else { return by_synonym(text, meaning) };
    let other = || found.clone().any(|(other, long, _)| long == longest && other != value);
    (!directions::is(meaning) || !other()).then_some(value.as_str())
}

/// Whether a value is a word for yes, or for no.
pub(super) fn yes(value: &str) -> Option<bool> {
    let lower = value.trim().to_lowercase();
    let known = |words: &[String]| words.contains(&lower);
    if known(&vocabulary().yes) { Some(true) } else { known(&vocabulary().no).then_some(false) }
}

/// A text as words: lower case, without accents, split where letters, digits and capitals change.
pub(super) fn words(text: &str) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    // Whether the previous letter is a digit, and whether it is lower case.
    let mut before: Option<(bool, bool)> = None;
    for letter in text.chars() {
        let is_digit = letter.is_ascii_digit();
        if !is_digit && !letter.is_alphabetic() {
            before = None;
            found.extend((letter == '%').then(|| "percent".to_owned()));
            continue;
        }
        let is_within = before
            .is_some_and(|(digit, small)| digit == is_digit && !(small && letter.is_uppercase()));
        if !is_within {
            found.push(String::new());
        }
        before = Some((is_digit, letter.is_lowercase()));
        if let Some(last) = found.last_mut() {
            letter.to_lowercase().for_each(|lower| push_plain(last, lower));
        }
    }
    found
}

/// Adds a lower-case letter without its accent.
fn push_plain(text: &mut String, letter: char) {
    match letter {
        'ä' | 'à' | 'á' | 'â' => text.push('a'),
        'ö' | 'ó' | 'ô' | 'ò' => text.push('o'),
        'ü' | 'ú' | 'û' | 'ù' => text.push('u'),
        'é' | 'è' | 'ê' | 'ë' => text.push('e'),
        'í' | 'î' | 'ï' | 'ì' => text.push('i'),
        'ñ' => text.push('n'),
        'ç' => text.push('c'),
        'œ' => text.push_str("oe"),
        'ß' => text.push_str("ss"),
        other => text.push(other),
    }
}

/// The words of a text as in the code list: words of offices, single or several together, are
/// replaced.
pub(super) fn in_code_words(text: &str) -> Vec<String> {
    let mut own = words(text);
    for (word, phrases) in &vocabulary().codes {
        for phrase in phrases {
            let parts: Vec<&str> = phrase.split(' ').collect();
            if let Some(at) = own.windows(parts.len()).position(|some| some == parts) {
                own.splice(at..at + parts.len(), word.split(' ').map(str::to_owned));
            }
        }
    }
    own
}

/// The single words of offices for words of the code list.
pub(super) fn words_for_codes() -> impl Iterator<Item = String> {
    vocabulary().codes.values().flatten().filter(|word| !word.contains(' ')).cloned()
}

/// Whether a heading has only words without meaning.
pub(super) fn is_bare(heading: &[String]) -> bool {
    heading.iter().all(|word| vocabulary().bare.contains(word))
}

/// How well a heading names a meaning, from 0 to 1: the part of the heading that the best phrase
/// covers.
pub(super) fn named(heading: &[String], meaning: &Meaning) -> f64 {
    let known = vocabulary();
    let unit = |word: &String| known.units.values().any(|words| words.contains(word));
    let bare: Vec<&String> =
        heading.iter().filter(|word| !unit(word) && !known.bare.contains(*word)).collect();
    // A heading of units and numbers only.
    let words: Vec<&String> = if bare.is_empty() { heading.iter().collect() } else { bare };
    let all =
        words.iter().filter(|word| !word.bytes().all(|byte| byte.is_ascii_digit())).count().max(1);
    let best = meaning.phrases.iter().map(|phrase| {
        let wanted: Vec<&str> = phrase.split(' ').collect();
        let is = |own: &str, wanted: &str| {
            // German joins words: the last part has the meaning.
            own == wanted || wanted.len() > 4 && own.len() > wanted.len() && own.ends_with(wanted)
        };
        let covered =
            wanted.iter().filter(|wanted| heading.iter().any(|own| is(own, wanted))).count();
        if covered < wanted.len() {
            return 0.0;
        }
        let of_heading =
            words.iter().filter(|own| wanted.iter().any(|wanted| is(own, wanted))).count();
        // A short word is a small part of a long heading.
        if wanted.concat().len() < 4 && of_heading * 2 < all {
            return 0.0;
        }
        let exact = wanted.iter().all(|wanted| heading.iter().any(|own| own == wanted));
        #[allow(clippy::cast_precision_loss)]
        let share = of_heading as f64 / all as f64;
        share.min(1.0) * if exact { 1.0 } else { 0.9 }
    });
    best.fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn once(what: &str, words: impl Iterator<Item = impl AsRef<str>>) {
        let mut seen = BTreeSet::new();
        for word in words {
            let word = word.as_ref();
            assert!(
                !word.is_empty() && seen.insert(word.to_owned()),
                "{what}: {word:?} is duplicated or empty"
            );
        }
    }

    /// The file can be read, every word occurs only once if two uses could not be distinguished,
    /// and words are split as headings are.
    #[test]
    fn the_vocabulary_is_read_and_has_no_duplicates() {
        let all: Vocabulary = serde_json::from_str(include_str!("words.json")).unwrap();
        assert!(all.meanings.len() > 30);
        once(
            "meanings",
            all.meanings.iter().map(|meaning| format!("{:?} {:?}", meaning.role, meaning.wants)),
        );
        for meaning in &all.meanings {
            once(&meaning.is, meaning.phrases.iter());
            for phrase in &meaning.phrases {
                assert_eq!(words(phrase).join(" "), *phrase, "{}", meaning.is);
            }
            assert!(
                meaning.words.as_ref().is_none_or(|name| all.values.contains_key(name)),
                "{}",
                meaning.is
            );
        }
        for unit in all.units.keys().chain(all.cell_units.keys()) {
            assert!(unit.parse::<QuantityUnit>().is_ok(), "{unit}");
        }
        let lists = [("units", &all.units), ("cell_units", &all.cell_units), ("codes", &all.codes)];
        let values = all.values.iter().map(|(name, words)| (name.as_str(), words));
        for (name, words) in lists.into_iter().chain(values) {
            once(name, words.values().flatten());
        }
        once("yes and no", all.yes.iter().chain(&all.no));
    }

    /// Words for values are words of the format.
    #[test]
    fn values_are_words_of_the_format() {
        for (name, field) in [
            ("materials", "pipes.material"),
            ("shapes", "pipes.shape"),
            ("carries", "pipes.carries"),
        ] {
            let obvert_model::shape::Shape::Word(known) = Target::named(field).unwrap().shape()
            else {
                panic!("{field}")
            };
            for value in vocabulary().values[name].keys() {
                assert!(known.contains(value), "{value}");
            }
        }
    }

    #[test]
    fn the_longest_phrase_determines_the_value() {
        let meaning = |to: &str| meaning_of(Target::named(to).unwrap()).unwrap();
        let list = meaning("pipes.material");
        for (text, value) in [
            ("Reinforced concrete", Some("reinforced-concrete")),
            ("concrete, brick lined", Some("concrete")),
            ("béton armé", Some("reinforced-concrete")),
            ("Stahlbeton", Some("reinforced-concrete")),
            ("cheese", None),
        ] {
            assert_eq!(meant(text, list), value, "{text}");
        }
        for (text, value) in [
            ("DS", Some("downstream")),
            ("U/S", Some("upstream")),
            ("Down stream", Some("downstream")),
            ("against the flow", Some("upstream")),
            ("gegen Fließrichtung", Some("upstream")),
            ("US to DS", None),
            ("from upstream to downstream", None),
        ] {
            assert_eq!(meant(text, meaning_of(Target::DIRECTION).unwrap()), value, "{text}");
        }
        assert_eq!(in_code_words("Gave up: roots"), ["stopped", "roots"]);
        assert_eq!(
            (unit_of("\""), unit_of("Inches"), unit_of("mm"), unit_of("x")),
            (
                Some(QuantityUnit::Inch),
                Some(QuantityUnit::Inch),
                Some(QuantityUnit::Millimetre),
                None
            )
        );
    }
}
