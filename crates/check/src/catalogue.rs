//! Looking up rules.

use crate::rule::Rule;
use crate::rules::CATALOGUE;

/// Every built-in rule, in the order of the catalogue.
#[doc(alias = "rules")]
#[must_use]
pub fn catalogue() -> &'static [&'static Rule] {
    CATALOGUE
}

/// The built-in rule of a name.
#[must_use]
pub fn find(name: &str) -> Option<&'static Rule> {
    CATALOGUE.iter().copied().find(|rule| rule.name == name)
}

/// A small survey without findings. The examples in the documentation of rules are patches of it.
pub const MINIMAL: &str = include_str!("minimal.obvert.json");

/// The files of the small survey, all whole, in the form of [`Files`](crate::files::Files). An
/// operation of an example whose path begins with `/files/` is one on them.
pub const MINIMAL_FILES: &str = include_str!("minimal.files.json");

/// The only candidate that equals a word except for its case and the white space around it.
pub(crate) fn same_but_case<'w>(
    word: &str,
    candidates: impl Iterator<Item = &'w str>,
) -> Option<&'w str> {
    let meant = word.trim().to_lowercase();
    let mut same = candidates.filter(|candidate| candidate.to_lowercase() == meant);
    let only = same.next()?;
    same.next().is_none().then_some(only)
}
