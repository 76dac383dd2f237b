//! Which words of a vocabulary stood in a field. Where they were few, seen often, and not all that the format has, an
//! office seems to want no others.

use std::collections::BTreeMap;

/// More different words than these say that anything is taken.
const FEW: usize = 4;

/// How often each of them must have been seen on average.
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

    /// How many there were, each time counted.
    pub(super) const fn count(&self) -> usize {
        self.count
    }

    /// The words that seem to be allowed, in alphabetical order; `None` where that cannot be told. `all` is how many words
    /// the format has there.
    pub(super) fn allowed(&self, all: usize) -> Option<Vec<&str>> {
        let few = self.seen.len() <= FEW && self.seen.len() < all && self.count >= TIMES * self.seen.len();
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
            // Every word that the format has: nothing is ruled out.
            (&[("up", 10), ("down", 10)], 2, None),
            (&[("a", 10), ("b", 10), ("c", 10), ("d", 10), ("e", 10)], 9, None),
        ];
        for (seen, all, expected) in cases {
            assert_eq!(words(seen).allowed(all), expected, "{seen:?} of {all}");
        }
    }
}
