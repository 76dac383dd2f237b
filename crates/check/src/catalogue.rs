//! Looking rules up.

use obvert_model::text;

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

/// The document that the examples in the rules' documentation patch. It is clean under every rule.
pub const MINIMAL: &str = include_str!("minimal.obvert.json");

/// The name nearest to one that does not exist.
pub(crate) fn nearest(name: &str) -> Option<String> {
    text::nearest(name, CATALOGUE.iter().map(|rule| rule.name)).map(str::to_owned)
}

/// The one candidate that a word is, but for its case and the white space around it.
pub(crate) fn same_but_case<'w>(word: &str, candidates: impl Iterator<Item = &'w str>) -> Option<&'w str> {
    let meant = word.trim().to_lowercase();
    let mut same = candidates.filter(|candidate| candidate.to_lowercase() == meant);
    let only = same.next()?;
    same.next().is_none().then_some(only)
}
