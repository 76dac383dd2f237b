//! Where a rule puts what it finds.

use std::borrow::Cow;
use std::collections::BTreeMap;

use crate::catalogue::near;
use crate::finding::{Finding, Severity};
use crate::rule::Rule;
use crate::views::Spot;

/// Where a rule puts what it finds. It knows the rule and its limits, counts every finding and keeps the first ones.
#[derive(Debug)]
pub struct Sink<'s> {
    pub(crate) rule: &'static Rule,
    pub(crate) severity: Severity,
    pub(crate) limits: &'s [f64],
    pub(crate) keep: usize,
    pub(crate) found: &'s mut Found,
}

/// What one rule has found.
#[derive(Debug, Default)]
pub(crate) struct Found {
    pub(crate) total: usize,
    pub(crate) kept: Vec<Finding>,
    spare: Option<Finding>,
    compared: usize,
}

impl Sink<'_> {
    /// The value of one of the rule's limits.
    #[must_use]
    pub fn limit(&self, name: &str) -> f64 {
        let index = self.rule.limits.iter().position(|limit| limit.name == name);
        debug_assert!(index.is_some(), "the rule {} has no limit {name}", self.rule.name);
        index.map_or(f64::NAN, |index| self.limits[index])
    }

    /// Whether the next finding will be listed, and not only counted: advice that takes a search is spared otherwise.
    pub(crate) fn lists(&self) -> bool {
        self.found.total < self.keep
    }

    /// The candidate nearest to a word, for a "did you mean". Nothing is guessed for a finding that will only be
    /// counted, nor when the rule has compared so often that a document with long tables would hold the check up.
    pub(crate) fn near<'w>(&mut self, word: &str, candidates: impl Iterator<Item = &'w str>) -> Option<String> {
        const COMPARISONS: usize = 300_000;
        let found = &mut *self.found;
        if found.total >= self.keep || found.compared >= COMPARISONS {
            return None;
        }
        let guess = near(word, candidates.take(COMPARISONS - found.compared).inspect(|_| found.compared += 1));
        guess.filter(|_| found.compared < COMPARISONS)
    }

    /// Reports that a table has no row of an id, with the nearest one that it has.
    pub(crate) fn unknown<'w>(&mut self, what: &str, id: &str, known: impl Iterator<Item = &'w str>, spot: Spot) {
        let near = self.near(id, known);
        let finding = self.report(spot, format!("no {what} has the id {id:?}"));
        finding.fact("id", id);
        if let Some(near) = near {
            finding.help(format!("did you mean {near:?}?"));
        }
    }

    /// Reports a finding. The message is lower case without a full stop, numbers with their units.
    pub fn report(&mut self, spot: Spot, message: impl Into<String>) -> &mut Finding {
        self.found.total += 1;
        let finding = Finding {
            rule: Cow::Borrowed(self.rule.name),
            severity: self.severity,
            message: message.into(),
            path: spot.path,
            document: 0,
            at: None,
            record: None,
            pipe: spot.pipe,
            run: spot.run,
            observation: spot.observation,
            distance: spot.distance,
            params: BTreeMap::new(),
            help: None,
        };
        let found = &mut *self.found;
        if found.kept.len() < self.keep {
            found.kept.push(finding);
            let last = found.kept.len() - 1;
            &mut found.kept[last]
        } else {
            found.spare.insert(finding)
        }
    }
}
