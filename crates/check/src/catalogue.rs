//! Finding rules by name.

use crate::rule::Rule;
use crate::rules::CATALOGUE;

/// Every rule, in the order of the catalogue.
#[must_use]
pub fn catalogue() -> &'static [&'static Rule] {
    CATALOGUE
}

/// The rule of a name.
#[must_use]
pub fn find(name: &str) -> Option<&'static Rule> {
    CATALOGUE.iter().copied().find(|rule| rule.name == name)
}

/// The document that the examples in the rules' documentation change. No rule reports anything in
/// it.
pub const MINIMAL: &str = include_str!("minimal.obvert.json");

/// The candidate nearest to a word, if it is near enough to be meant.
pub(crate) fn near<'w>(word: &str, candidates: impl Iterator<Item = &'w str>) -> Option<String> {
    let meant = word.to_lowercase();
    let long = meant.chars().count();
    candidates
        // Candidates whose length differs by more than two fifths cannot be near enough; most need
        // no more than that.
        .filter(|candidate| {
            let other = candidate.chars().count();
            long.abs_diff(other) * 5 <= long.max(other) * 2
        })
        .map(|candidate| (strsim::normalized_damerau_levenshtein(&meant, &candidate.to_lowercase()), candidate))
        .filter(|(likeness, _)| *likeness >= 0.6)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate.to_owned())
}

/// The only candidate that equals a word except for its case and the white space around it.
pub(crate) fn same_but_case<'w>(word: &str, candidates: impl Iterator<Item = &'w str>) -> Option<&'w str> {
    let meant = word.trim().to_lowercase();
    let mut same = candidates.filter(|candidate| candidate.to_lowercase() == meant);
    let only = same.next()?;
    same.next().is_none().then_some(only)
}
