//! Finds how far a limit must be moved so that its rule has no findings in accepted surveys.
//!
//! Each limit is tested by a check with only its rule. Rules do not declare whether a limit is a
//! minimum or a maximum, so both directions are tested, up to a factor beyond which the rule would
//! lose its meaning.

use std::collections::BTreeMap;

use obvert_model::tables::Document;

use crate::catalogue::catalogue;
use crate::checker::Checker;
use crate::rule::Rule;
use crate::settings::Settings;

/// The largest factor. If a larger one is needed, the limit is not the cause.
const MAX_FACTOR: f64 = 2.0;

/// The margin beyond the extreme of the accepted surveys, since the next survey may have a slightly
/// larger one. Common practice, no published source.
const MARGIN: f64 = 0.1;

/// Steps of bisection, which find the limit to a thousandth of the range.
const STEPS: usize = 12;

/// For every rule with findings, the limits with which it would have none in all surveys so far.
#[derive(Debug, Default)]
pub(super) struct Extremes {
    by_rule: BTreeMap<&'static str, Vec<Moved>>,
}

/// A limit, moved until the rule has no findings.
#[derive(Clone, Copy, Debug)]
struct Moved {
    name: &'static str,
    default: f64,
    extreme: f64,
    up: bool,
}

/// A drafted limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Drafted {
    pub(super) name: &'static str,
    pub(super) unit: &'static str,
    pub(super) value: f64,
    pub(super) extreme: f64,
    pub(super) up: bool,
}

impl Extremes {
    /// Adds a survey in which a rule had findings.
    pub(super) fn add(&mut self, rule: &str, document: &Document, settings: &Settings) {
        let Some(rule) = catalogue().iter().copied().find(|known| known.name == rule) else {
            return;
        };
        let found: Vec<Moved> = rule
            .limits
            .iter()
            .filter_map(|limit| moved(rule, limit.name, limit.default, document, settings))
            .collect();
        match self.by_rule.get_mut(rule.name) {
            None => {
                self.by_rule.insert(rule.name, found);
            }
            // A limit must work for every survey, so the farthest value counts.
            Some(before) => {
                before.retain(|one| {
                    found.iter().any(|other| (other.name, other.up) == (one.name, one.up))
                });
                for one in before {
                    let other = found
                        .iter()
                        .filter(|other| other.name == one.name)
                        .map(|other| other.extreme);
                    one.extreme =
                        other.fold(one.extreme, |a, b| if one.up { a.max(b) } else { a.min(b) });
                }
            }
        }
    }

    /// The limit of a rule that needs the smallest move, with the margin; `None` if no single one
    /// is enough.
    pub(super) fn drafted(&self, rule: &str) -> Option<Drafted> {
        let moved = self.by_rule.get(rule)?;
        let far = |one: &Moved| (one.extreme / one.default).ln().abs();
        let least = moved.iter().min_by(|a, b| far(a).total_cmp(&far(b)))?;
        let unit = catalogue()
            .iter()
            .find(|known| known.name == rule)?
            .limits
            .iter()
            .find(|limit| limit.name == least.name)?;
        let beyond =
            if least.up { least.extreme * (1.0 + MARGIN) } else { least.extreme * (1.0 - MARGIN) };
        Some(Drafted {
            name: least.name,
            unit: unit.unit,
            value: round(beyond, least.up),
            extreme: least.extreme,
            up: least.up,
        })
    }
}

/// Moves one limit until the rule has no findings; `None` if the largest factor is not enough.
fn moved(
    rule: &'static Rule,
    name: &'static str,
    default: f64,
    document: &Document,
    settings: &Settings,
) -> Option<Moved> {
    let has_no_findings = |value: f64| {
        let mut alone = settings.clone();
        alone.severities = catalogue()
            .iter()
            .filter(|other| other.name != rule.name)
            .map(|other| (other.name.to_owned(), None))
            .collect();
        alone.limits.insert((rule.name.to_owned(), name.to_owned()), value);
        (alone.profile, alone.keep) = (None, 1);
        // The settings were valid before, and the limit is a positive number.
        Checker::new(alone).is_ok_and(|checker| {
            checker.check_document(document).rules.iter().all(|fired| fired.rule != rule.name)
        })
    };
    if default <= 0.0 {
        return None;
    }
    for up in [true, false] {
        let (mut too_strict, mut enough) =
            (default, if up { default * MAX_FACTOR } else { default / MAX_FACTOR });
        if !has_no_findings(enough) {
            continue;
        }
        for _ in 0..STEPS {
            let middle = f64::midpoint(too_strict, enough);
            if has_no_findings(middle) { enough = middle } else { too_strict = middle }
        }
        return Some(Moved { name, default, extreme: enough, up });
    }
    None
}

/// Rounds to two digits, away from the extreme.
fn round(value: f64, up: bool) -> f64 {
    let scale = 10_f64.powi(1 - value.abs().log10().floor() as i32);
    let digits = if up { (value * scale - 1e-9).ceil() } else { (value * scale + 1e-9).floor() };
    digits / scale
}
