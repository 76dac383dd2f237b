//! Translates codes from one code list to another along their `same_as` links, and lists what a
//! link does not preserve. Used to recode a document, and to grade it by a scheme for another list.
//!
//! ```
//! use obvert_model::lists::{CodeList, Crosswalk};
//! let there = Crosswalk::new(CodeList::obvert_terms(), CodeList::en_13508_2());
//! let translated = there.translate("crack.longitudinal", &[], &[])?;
//! assert_eq!((translated.code.code.as_str(), translated.characterisation[0].as_str()), ("BAB", "B"));
//! assert!(translated.lost.is_empty());
//!
//! let back = Crosswalk::new(CodeList::en_13508_2(), CodeList::obvert_terms());
//! let translated = back.translate(&translated.code.code, &translated.characterisation, &translated.quantities)?;
//! assert_eq!(translated.code.code.as_str(), "crack.longitudinal");
//! # Ok::<(), obvert_model::lists::NoEquivalent<'static>>(())
//! ```

use std::collections::BTreeMap;

use rustc_hash::FxHashMap;

use super::code_list::begins;
use super::{Code, CodeList, Fit};
use crate::tables::Quantity;
use crate::text::Text;

/// The extension of an observation that keeps its coding from before a translation: an object with
/// `list`, `version`, `code` and, if recorded, `characterisation`, `quantities` and `remark`.
/// `earlier` is a list of the previous values of this extension.
pub const ORIGINAL: &str = "example.obvert.original";

/// The links from one list to another.
#[derive(Debug)]
pub struct Crosswalk<'l> {
    /// The list to translate from.
    pub from: &'l CodeList,
    /// The list to translate to.
    pub to: &'l CodeList,
    codes: BTreeMap<&'l str, &'l Code>,
    links: FxHashMap<&'l str, Vec<Link<'l>>>,
}

/// One link, in the direction in which it is followed.
#[derive(Clone, Debug)]
pub struct Link<'l> {
    /// The characterisation that it requires, from the first place on.
    pub when: &'l [Text],
    /// The code in the other list.
    pub code: &'l Code,
    /// The characterisation in the other list.
    pub characterisation: &'l [Text],
    /// How well it fits.
    pub fit: Fit,
    /// The names of the shared amounts, in this list and in the other.
    amounts: Vec<(&'l str, &'l str)>,
}

/// A code with its characterisation and amounts, translated.
#[derive(Clone, Debug)]
pub struct Translated<'l> {
    /// The code.
    pub code: &'l Code,
    /// Its characterisation.
    pub characterisation: Vec<Text>,
    /// Its amounts, with the recorded numbers and units.
    pub quantities: Vec<Quantity>,
    /// What the translation loses, in the order of the original.
    pub lost: Vec<Lost<'l>>,
}

/// Something that a translation loses.
#[derive(Clone, Debug, PartialEq)]
pub enum Lost<'l> {
    /// The new code is wider, so the distinction of the old one is lost.
    Meaning,
    /// These codes would have been as good.
    Choice(Vec<&'l Code>),
    /// The characterisation, from this place on.
    Characterisation(usize),
    /// The amount in this place, with its name if the list has one.
    Amount(usize, Option<&'l str>),
}

/// Why a code cannot be translated.
#[derive(Clone, Debug, PartialEq)]
pub enum NoEquivalent<'l> {
    /// The code is not in its list.
    Unknown,
    /// The code, with its characterisation, has no link to the other list.
    Missing(&'l Code),
    /// Each link requires a characterisation that is not recorded. It could be any of these codes.
    Ambiguous(&'l Code, Vec<&'l Code>),
}

impl std::error::Error for NoEquivalent<'_> {}

impl std::fmt::Display for NoEquivalent<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Unknown => f.write_str("the code is not in its list"),
            Self::Missing(code) => write!(f, "{} has no equivalent", code.code),
            Self::Ambiguous(code, could) => {
                let could: Vec<&str> = could.iter().map(|code| code.code.as_str()).collect();
                write!(
                    f,
                    "{} could be {}; the characterisation that decides is not recorded",
                    code.code,
                    could.join(" or ")
                )
            }
        }
    }
}

impl<'l> Crosswalk<'l> {
    /// Collects the links of `from`, then the exact links of `to` in reverse where `from` has none.
    /// Links to codes that do not exist are ignored.
    #[must_use]
    pub fn new(from: &'l CodeList, to: &'l CodeList) -> Self {
        let (codes, targets) = (from.by_code(), to.by_code());
        let mut links: FxHashMap<&str, Vec<Link<'l>>> = FxHashMap::default();
        for code in &from.codes {
            for same in code.same_as.iter().filter(|same| same.list == to.id) {
                let Some(target) = targets.get(same.code.as_str()) else { continue };
                let amounts = same
                    .quantities
                    .iter()
                    .map(|both| (both.own.as_str(), both.other.as_str()))
                    .collect();
                links.entry(&code.code).or_default().push(Link {
                    when: &same.when,
                    code: target,
                    characterisation: &same.characterisation,
                    fit: same.fit(),
                    amounts,
                });
            }
        }
        let mut reverse: Vec<(&str, Link<'l>)> = Vec::new();
        for target in &to.codes {
            for same in target
                .same_as
                .iter()
                .filter(|same| same.list == from.id && same.fit() == Fit::Exact)
            {
                let own = links.get(same.code.as_str());
                let settled = own.is_some_and(|own| {
                    own.iter().any(|link| link.when == same.characterisation.as_slice())
                });
                if settled || !codes.contains_key(same.code.as_str()) {
                    continue;
                }
                let amounts = same
                    .quantities
                    .iter()
                    .map(|both| (both.other.as_str(), both.own.as_str()))
                    .collect();
                let (when, characterisation) =
                    (same.characterisation.as_slice(), same.when.as_slice());
                reverse.push((
                    &same.code,
                    Link { when, code: target, characterisation, fit: Fit::Exact, amounts },
                ));
            }
        }
        for (code, link) in reverse {
            links.entry(code).or_default().push(link);
        }
        Self { from, to, codes, links }
    }

    /// A code of the list to translate from.
    #[must_use]
    pub fn code(&self, code: &str) -> Option<&'l Code> {
        self.codes.get(code).copied()
    }

    /// The links of a code, in the order of the lists.
    #[must_use]
    pub fn links(&self, code: &str) -> &[Link<'l>] {
        self.links.get(code).map_or(&[], Vec::as_slice)
    }

    /// Translates a code with its characterisation and amounts.
    ///
    /// # Errors
    /// If there is no equivalent, or several and none can be chosen.
    pub fn translate(
        &self,
        code: &str,
        characterisation: &[Text],
        quantities: &[Quantity],
    ) -> Result<Translated<'l>, NoEquivalent<'l>> {
        let own = self.code(code).ok_or(NoEquivalent::Unknown)?;
        let links = self.links(code);
        let holds = || links.iter().filter(|link| begins(characterisation, link.when));
        let rank = |link: &Link<'_>| (link.when.len(), link.fit == Fit::Exact);
        let Some(best) = holds().map(rank).max() else {
            let mut could: Vec<&Code> = Vec::new();
            // The codes of links that require more of the characterisation.
            for link in links.iter().filter(|link| begins(link.when, characterisation)) {
                if !could.iter().any(|code| code.code == link.code.code) {
                    could.push(link.code);
                }
            }
            return Err(match could.as_slice() {
                [] => NoEquivalent::Missing(own),
                _ => NoEquivalent::Ambiguous(own, could),
            });
        };
        let mut fitting = holds().filter(|link| rank(link) == best);
        // At least one link has this rank.
        let Some(link) = fitting.next() else { return Err(NoEquivalent::Missing(own)) };
        let mut lost = Vec::new();
        if link.fit == Fit::Wider {
            lost.push(Lost::Meaning);
        }
        let others: Vec<&Code> = fitting.map(|other| other.code).collect();
        if !others.is_empty() {
            lost.push(Lost::Choice(others));
        }
        if characterisation.len() > link.when.len() {
            lost.push(Lost::Characterisation(link.when.len()));
        }
        let quantities = amounts(own, link, characterisation, quantities, &mut lost);
        Ok(Translated {
            code: link.code,
            characterisation: link.characterisation.to_vec(),
            quantities,
            lost,
        })
    }
}

/// The amounts in the other code's order. Amounts are distinguished by their places, so an amount
/// that would come after an empty place is lost.
fn amounts<'l>(
    own: &'l Code,
    link: &Link<'l>,
    characterisation: &[Text],
    quantities: &[Quantity],
    lost: &mut Vec<Lost<'l>>,
) -> Vec<Quantity> {
    let names: Vec<&'l str> = own
        .quantities
        .iter()
        .filter(|meaning| begins(characterisation, &meaning.when))
        .map(|meaning| meaning.name.as_str())
        .collect();
    let mut places: Vec<(usize, usize)> = Vec::new();
    for (index, _) in quantities.iter().enumerate() {
        let other =
            names.get(index).and_then(|name| link.amounts.iter().find(|(own, _)| own == name));
        let place = other.and_then(|(_, other)| {
            link.code
                .amounts(link.characterisation)
                .position(|meaning| meaning.name.as_str() == *other)
        });
        if let Some(place) = place.filter(|place| places.iter().all(|(_, taken)| taken != place)) {
            places.push((index, place));
        }
    }
    places.sort_by_key(|(_, place)| *place);
    let reached = places.iter().enumerate().take_while(|(at, (_, place))| at == place).count();
    places.truncate(reached);
    for (index, _) in quantities.iter().enumerate() {
        if places.iter().all(|(translated, _)| *translated != index) {
            lost.push(Lost::Amount(index, names.get(index).copied()));
        }
    }
    places.into_iter().map(|(index, _)| quantities[index].clone()).collect()
}
