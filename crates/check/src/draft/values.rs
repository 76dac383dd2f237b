//! The words in a field. If they are few and frequent, and the format has more, an office probably
//! allows only these.

use std::collections::BTreeMap;

/// The maximum number of words. With more, probably any word is allowed.
const FEW: usize = 4;

/// How often each must occur on average.
const TIMES: usize = 10;

/// The words of one field.
#[derive(Clone, Debug, Default)]
pub(super) struct Words {
    seen: BTreeMap<String, usize>,
    count: usize,
}

impl Words {
    pub(super) fn add(&mut self, word: &str) {
        self.count += 1;
        match self.seen.get_mut(word) {
            Some(times) => *times += 1,
            None => {
                self.seen.insert(word.to_owned(), 1);
            }
        }
    }

    /// How many there were in total.
    pub(super) const fn count(&self) -> usize {
        self.count
    }

    /// The words that are probably allowed, in alphabetical order; `None` if that is unknown. `all`
    /// is the number of words of the format.
    pub(super) fn allowed(&self, all: usize) -> Option<Vec<&str>> {
        let few = self.seen.len() <= FEW
            && self.seen.len() < all
            && self.count >= TIMES * self.seen.len();
        (few && self.count > 0).then(|| self.seen.keys().map(String::as_str).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(of: &[(&str, usize)]) -> Words {
        let mut words = Words::default();
        for (word, times) in of {
            (0..*times).for_each(|_| words.add(word));
        }
        words
    }

    #[test]
    fn few_words_seen_often_are_the_allowed_ones() {
        type Case<'c> = (&'c [(&'c str, usize)], usize, Option<Vec<&'c str>>);
        let cases: [Case<'_>; 7] = [
            (&[], 3, None),
            (&[("dry", 10)], 5, Some(vec!["dry"])),
            (&[("dry", 9)], 5, None),
            (&[("rain", 1), ("dry", 19)], 5, Some(vec!["dry", "rain"])),
            (&[("rain", 1), ("dry", 18)], 5, None),
            // If every word of the format occurs, none is excluded.
            (&[("up", 10), ("down", 10)], 2, None),
            (&[("a", 10), ("b", 10), ("c", 10), ("d", 10), ("e", 10)], 9, None),
        ];
        for (seen, all, expected) in cases {
            assert_eq!(words(seen).allowed(all), expected, "{seen:?} of {all}");
        }
    }
}
