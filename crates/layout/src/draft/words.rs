//! What people call the columns of a survey and what stands in them, in English and German and some French, Spanish, Dutch and
//! Italian: plain words and words of the trade, of no one office. They are data, in `words.json`; here they are read, and a heading is
//! taken apart into words, without accents and units, and held against them.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use serde::Deserialize;

use super::ways;

/// What a column can hold, with the look that its values must have and the words for it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Target {
    /// The field, or a role of its own: `codes`, `codes.detail`, `stretch`.
    pub(super) to: String,
    pub(super) wants: Wants,
    /// The list of [`Vocabulary::values`] that its words are of, where it is one.
    pub(super) words: Option<String>,
    /// What it is in words, for the reason.
    pub(super) is: String,
    /// A phrase matches where all of its words stand in the heading.
    pub(super) phrases: Vec<String>,
}

/// What the values of a column must look like.
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

/// Words by what they stand for.
pub(super) type Words = BTreeMap<String, Vec<String>>;

/// All words that are known.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Vocabulary {
    /// Everything that a draft can find, the more special before the more general.
    pub(super) targets: Vec<Target>,
    /// Words for units in headings, which say nothing of what is measured.
    units: Words,
    /// Words and signs for units behind numbers.
    pub(super) cell_units: Words,
    /// Words of headings that say nothing.
    bare: BTreeSet<String>,
    /// Words for values, by the name that a target calls them by.
    values: BTreeMap<String, Words>,
    /// Words of headings that dates stand below.
    pub(super) dates: BTreeSet<String>,
    /// Words of headings that times of day stand below.
    pub(super) times: BTreeSet<String>,
    yes: Vec<String>,
    no: Vec<String>,
    /// Words of offices for words of the code list.
    codes: Words,
}

/// The vocabulary.
pub(super) fn vocabulary() -> &'static Vocabulary {
    static WORDS: OnceLock<Vocabulary> = OnceLock::new();
    // Embedded, and read by a test; without it, nothing would be found, and nothing be wrong.
    WORDS.get_or_init(|| serde_json::from_str(include_str!("words.json")).unwrap_or_default())
}

/// A list of words that a target names.
fn list(target: &Target) -> Option<&'static Words> {
    vocabulary().values.get(target.words.as_ref()?)
}

/// The unit that a heading names.
pub(super) fn unit_in(heading: &[String]) -> Option<&'static str> {
    let units = &vocabulary().units;
    units.iter().find(|(_, words)| heading.iter().any(|own| words.contains(own))).map(|(unit, _)| unit.as_str())
}

/// The unit that a word or sign stands for.
pub(super) fn unit_of(word: &str) -> Option<&'static str> {
    let own = words(word);
    let said = |all: &'static Words, is: &dyn Fn(&String) -> bool| {
        all.iter().find(|(_, words)| words.iter().any(is)).map(|(unit, _)| unit.as_str())
    };
    said(&vocabulary().cell_units, &|known| known == word)
        .or_else(|| said(&vocabulary().units, &|known| own.len() == 1 && own[0] == *known))
}

/// What a text stands for of the words of a target: that of the longest phrase that is in it, and of two of one length that which comes
/// first. From one end to the other is one way, and which of the two is none that can be told from the words alone.
pub(super) fn meant(text: &str, target: &Target) -> Option<&'static str> {
    let list = list(target)?;
    let own = words(text);
    let found = list.iter().flat_map(|(value, phrases)| phrases.iter().map(move |phrase| (value, phrase)));
    let at = |phrase: &str| -> Option<usize> {
        let places = phrase.split(' ').map(|part| own.iter().position(|word| word == part));
        places.collect::<Option<Vec<usize>>>().and_then(|places| places.into_iter().min())
    };
    let found = found.filter_map(|(value, phrase)| Some((value, phrase.split(' ').count(), at(phrase)?)));
    let (value, longest, _) = found.clone().max_by_key(|(_, long, at)| (*long, std::cmp::Reverse(*at)))?;
    let other = || found.clone().any(|(other, long, _)| long == longest && other != value);
    (!ways::is(target) || !other()).then_some(value.as_str())
}

/// Whether a value is a word for yes, or for no.
pub(super) fn yes(value: &str) -> Option<bool> {
    let lower = value.trim().to_lowercase();
    let known = |words: &[String]| words.contains(&lower);
    if known(&vocabulary().yes) { Some(true) } else { known(&vocabulary().no).then_some(false) }
}

/// A text as words: lower case, without accents, cut where letters, digits and capitals change.
pub(super) fn words(text: &str) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    let mut before = None;
    for letter in text.chars() {
        let class = if letter.is_ascii_digit() {
            'd'
        } else if letter.is_alphabetic() {
            'a'
        } else {
            ' '
        };
        let new = match before {
            None => true,
            Some((was, lower)) => was != class || lower && letter.is_uppercase(),
        };
        if class == ' ' {
            before = None;
            if letter == '%' {
                found.push("percent".to_owned());
            }
            continue;
        }
        if new {
            found.push(String::new());
        }
        before = Some((class, letter.is_lowercase()));
        let Some(last) = found.last_mut() else { continue };
        for lower in letter.to_lowercase() {
            match lower {
                'ä' | 'à' | 'á' | 'â' => last.push('a'),
                'ö' | 'ó' | 'ô' | 'ò' => last.push('o'),
                'ü' | 'ú' | 'û' | 'ù' => last.push('u'),
                'é' | 'è' | 'ê' | 'ë' => last.push('e'),
                'í' | 'î' | 'ï' | 'ì' => last.push('i'),
                'ñ' => last.push('n'),
                'ç' => last.push('c'),
                'œ' => last.push_str("oe"),
                'ß' => last.push_str("ss"),
                other => last.push(other),
            }
        }
    }
    found
}

/// The words of a text as the code list has them: words of offices, alone or several together, are replaced.
pub(super) fn known(text: &str) -> Vec<String> {
    let mut own = words(text);
    for (word, phrases) in &vocabulary().codes {
        for phrase in phrases {
            let parts: Vec<&str> = phrase.split(' ').collect();
            if let Some(at) = own.windows(parts.len()).position(|some| some == parts) {
                own.splice(at..at + parts.len(), [word.clone()]);
            }
        }
    }
    own
}

/// Whether a heading has no word that says anything.
pub(super) fn is_bare(heading: &[String]) -> bool {
    heading.iter().all(|word| vocabulary().bare.contains(word))
}

/// How well a heading names a target, from 0 to 1: how much of the heading the best phrase covers.
pub(super) fn named(heading: &[String], target: &Target) -> f64 {
    let known = vocabulary();
    let unit = |word: &String| known.units.values().any(|words| words.contains(word));
    let bare: Vec<&String> = heading.iter().filter(|word| !unit(word) && !known.bare.contains(*word)).collect();
    // A heading of units and numbers alone is all there is.
    let words: Vec<&String> = if bare.is_empty() { heading.iter().collect() } else { bare };
    let all = words.iter().filter(|word| !word.bytes().all(|byte| byte.is_ascii_digit())).count().max(1);
    let best = target.phrases.iter().map(|phrase| {
        let wanted: Vec<&str> = phrase.split(' ').collect();
        let is = |own: &str, wanted: &str| {
            // German writes words together: the last part says what it is.
            own == wanted || wanted.len() > 4 && own.len() > wanted.len() && own.ends_with(wanted)
        };
        let covered = wanted.iter().filter(|wanted| heading.iter().any(|own| is(own, wanted))).count();
        if covered < wanted.len() {
            return 0.0;
        }
        let of_heading = words.iter().filter(|own| wanted.iter().any(|wanted| is(own, wanted))).count();
        // A small word is a small part of a long heading.
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
            assert!(!word.is_empty() && seen.insert(word.to_owned()), "{what}: {word:?} stands twice or is empty");
        }
    }

    /// The file is read, every word in it stands once where two could not be told apart, and as headings are taken apart.
    #[test]
    fn the_vocabulary_is_read_and_says_nothing_twice() {
        let all: Vocabulary = serde_json::from_str(include_str!("words.json")).unwrap();
        assert!(all.targets.len() > 30);
        once("targets", all.targets.iter().map(|target| format!("{} {:?}", target.to, target.wants)));
        for target in &all.targets {
            once(&target.to, target.phrases.iter());
            for phrase in &target.phrases {
                assert_eq!(words(phrase).join(" "), *phrase, "{}", target.to);
            }
            assert!(target.words.as_ref().is_none_or(|name| all.values.contains_key(name)), "{}", target.to);
        }
        let lists = [("units", &all.units), ("cell_units", &all.cell_units), ("codes", &all.codes)];
        let values = all.values.iter().map(|(name, words)| (name.as_str(), words));
        for (name, words) in lists.into_iter().chain(values) {
            once(name, words.values().flatten());
        }
        once("yes and no", all.yes.iter().chain(&all.no));
    }

    /// Every target leads to a field of the model, or plays a part of its own.
    #[test]
    fn targets_lead_to_fields() {
        for target in &vocabulary().targets {
            let own = ["codes", "codes.detail", "stretch"].contains(&target.to.as_str());
            let path: Result<obvert_model::profile::FieldPath, _> = serde_json::from_value(target.to.as_str().into());
            assert!(own || path.is_ok_and(|path| path.resolve().is_ok()), "{}", target.to);
        }
        for (name, field) in [("materials", "pipes.material"), ("shapes", "pipes.shape"), ("carries", "pipes.carries")]
        {
            let path: obvert_model::profile::FieldPath = serde_json::from_value(field.into()).unwrap();
            let obvert_model::shape::Shape::Word(known) = &path.resolve().unwrap().field.shape else {
                panic!("{field}")
            };
            for value in vocabulary().values[name].keys() {
                assert!(format!("{known:?}").contains(&format!("{value:?}")), "{value}");
            }
        }
    }

    #[test]
    fn the_longest_phrase_says_what_a_value_means() {
        let target = |to: &str| vocabulary().targets.iter().find(|target| target.to == to).unwrap();
        let list = target("pipes.material");
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
            assert_eq!(meant(text, target("runs.direction")), value, "{text}");
        }
        assert_eq!(known("Gave up: roots"), ["stopped", "roots"]);
        assert_eq!(
            (unit_of("\""), unit_of("Inches"), unit_of("mm"), unit_of("x")),
            (Some("in"), Some("in"), Some("mm"), None)
        );
    }
}
