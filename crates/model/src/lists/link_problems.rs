//! Checks the links of a code list: that their targets exist and that each translation is
//! unambiguous.

use std::collections::BTreeMap;

use rustc_hash::FxHashMap;

use super::code_list::begins;
use super::list_problems::values_problems;
use super::problems::Problems;
use super::{Code, CodeList, Fit, ListProblemKind, QuantityMeaning, SameAmount, SameAs};
use crate::text::Text;

/// A code with a characterisation.
type Characterised<'l> = (&'l str, &'l [Text]);

/// Checks every link of a list. Of links to lists that are not available, only this end is checked.
pub(super) fn add(list: &CodeList, others: &[&CodeList], problems: &mut Problems) {
    let own = list.by_code();
    let built_in = |id: &str| CodeList::built_ins().into_iter().find(|known| *known.id == *id);
    let mut lists: FxHashMap<&str, Option<BTreeMap<&str, &Code>>> = FxHashMap::default();
    // The codes by the code of another list that they are the same as. If there are two, that code
    // cannot be translated back.
    let mut claimed: FxHashMap<(&str, Characterised<'_>), Characterised<'_>> = FxHashMap::default();
    for (index, code) in list.codes.iter().enumerate() {
        for (number, link) in code.same_as.iter().enumerate() {
            let at = format!("/codes/{index}/same_as/{number}");
            values_problems(code, &link.when, &format!("{at}/when"), problems);
            if link.list == list.id && link.code == code.code {
                problems.add(
                    ListProblemKind::Link,
                    &at,
                    "the code is linked to itself; remove the link",
                );
                continue;
            }
            if let Some((kind, message)) = conflict(code, &code.same_as[..number], link) {
                problems.add(kind, &at, message);
                continue;
            }
            if link.fit() == Fit::Exact {
                let target_code = (link.code.as_str(), link.characterisation.as_slice());
                let this = (code.code.as_str(), link.when.as_slice());
                let first = *claimed.entry((link.list.as_str(), target_code)).or_insert(this);
                if first != this {
                    problems.add(ListProblemKind::Ambiguous, &at, claimed_by(first, link));
                }
            }
            let there = lists.entry(&link.list).or_insert_with(|| {
                let known = others.iter().copied().find(|other| other.id == link.list);
                known.or_else(|| built_in(&link.list)).map(CodeList::by_code)
            });
            let there = if link.list == list.id { Some(&own) } else { there.as_ref() };
            if let Some(there) = there {
                follow(code, link, there, &at, problems);
            }
        }
    }
}

/// What is wrong with a link that an earlier link of its code conflicts with.
fn conflict(code: &Code, earlier: &[SameAs], link: &SameAs) -> Option<(ListProblemKind, String)> {
    let alike = |other: &&SameAs| {
        other.list == link.list && other.when == link.when && other.fit() == link.fit()
    };
    let other = earlier.iter().find(alike)?;
    if other.code == link.code && other.characterisation == link.characterisation {
        let message = format!("the link to {} is a duplicate; keep one", target(link));
        return Some((ListProblemKind::Duplicate, message));
    }
    let message = format!(
        "{:?} translates to both {} and {}; give the links different conditions under when, or \
         keep one",
        &*code.code,
        target(other),
        target(link)
    );
    Some((ListProblemKind::Ambiguous, message))
}

/// The message for a link to a code that is already the same as another one.
fn claimed_by(first: Characterised<'_>, link: &SameAs) -> String {
    let letters: String = first.1.iter().map(|value| format!(" {value}")).collect();
    format!(
        "{:?} is already the same as {}, so that code would translate back to two; mark the link \
         that loses detail as wider",
        format!("{}{letters}", first.0),
        target(link)
    )
}

fn target(link: &SameAs) -> String {
    let letters: String = link.characterisation.iter().map(|value| format!(" {value}")).collect();
    format!("{}{letters} of {}", link.code, link.list)
}

fn follow(
    code: &Code,
    link: &SameAs,
    there: &BTreeMap<&str, &Code>,
    at: &str,
    problems: &mut Problems,
) {
    let Some(other) = there.get(link.code.as_str()) else {
        let message = format!("{} has no code {:?}", link.list, &*link.code);
        let mut all: Vec<&str> = there.keys().copied().collect();
        all.sort_unstable();
        return problems.unknown(
            ListProblemKind::Link,
            format!("{at}/code"),
            message,
            &link.code,
            all.into_iter(),
        );
    };
    values_problems(other, &link.characterisation, &format!("{at}/characterisation"), problems);
    for (index, both) in link.quantities.iter().enumerate() {
        let at = format!("{at}/quantities/{index}");
        let before = &link.quantities[..index];
        let linked = |same: fn(&SameAmount) -> &str| {
            before.iter().any(|earlier| same(earlier) == same(both))
        };
        if linked(|both| &both.own) || linked(|both| &both.other) {
            let message = "one of the two amounts is already linked; link each once";
            problems.add(ListProblemKind::Duplicate, &at, message);
        }
        let here = amount(code, &link.when, &both.own, &format!("{at}/own"), problems);
        let there =
            amount(other, &link.characterisation, &both.other, &format!("{at}/other"), problems);
        if let (Some(here), Some(there)) = (here, there) {
            if here.unit.dimension() != there.unit.dimension() || here.of != there.of {
                let message = format!(
                    "{} and {} are different amounts; link amounts that measure the same, or none",
                    says(code, here),
                    says(other, there)
                );
                problems.add(ListProblemKind::Contradiction, at, message);
            }
        }
    }
}

fn says(code: &Code, amount: &QuantityMeaning) -> String {
    let of = amount.of.map(|of| format!(" of {of}")).unwrap_or_default();
    format!("{} of {} in {}{of}", amount.name, code.code, amount.unit)
}

/// An amount of a code with a characterisation that begins like this, or may.
fn amount<'c>(
    code: &'c Code,
    characterisation: &[Text],
    name: &str,
    at: &str,
    problems: &mut Problems,
) -> Option<&'c QuantityMeaning> {
    let can = |meaning: &&QuantityMeaning| {
        begins(characterisation, &meaning.when) || begins(&meaning.when, characterisation)
    };
    let found = code.quantities.iter().filter(can).find(|meaning| *meaning.name == *name);
    if found.is_none() {
        let names = || code.quantities.iter().filter(can).map(|meaning| meaning.name.as_str());
        let has = names().collect::<Vec<_>>().join(", ");
        let has =
            if has.is_empty() { "it has none there".to_owned() } else { format!("it has {has}") };
        let message = format!("{:?} has no amount {name:?}; {has}", &*code.code);
        problems.unknown(ListProblemKind::Link, at, message, name, names());
    }
    found
}
