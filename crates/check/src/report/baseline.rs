//! Holding a check against an earlier one: what was known then is taken out, so that only what is new is shown and counts.

use std::collections::{BTreeMap, BTreeSet};

use obvert_model::read::ProblemKind;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::report::fingerprint::fingerprint;
use crate::report::{Report, RuleTotal};

/// What an earlier report knew already.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Compared {
    /// The file of the earlier report, as it was named; absent when none was.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub file: Option<String>,
    /// How many findings it knew already. They are neither listed nor counted in the totals.
    pub known: usize,
    /// How many of its findings are gone, by rules that were run this time as well.
    pub gone: usize,
    /// Rules of which one of the two reports counted findings that it did not list. What was not listed cannot be
    /// recognised, so known findings of these rules may be counted as new.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub unsure: Vec<String>,
}

impl Report {
    /// Takes out what an earlier report knew already, document by document: those of one id belong together, else those of
    /// one file, else the only two. Findings are the same when their rule, the ids of what they concern, the field and
    /// the facts are, wherever they stand now.
    pub fn hold_against(&mut self, earlier: &Self, file: Option<&str>) {
        let partner = partners(self, earlier);
        let mut left: BTreeMap<(usize, String), usize> = BTreeMap::new();
        for finding in &earlier.findings {
            *left.entry((finding.document, fingerprint(finding))).or_default() += 1;
        }
        let mut known: BTreeMap<(usize, String), usize> = BTreeMap::new();
        self.findings.retain(|finding| {
            let Some(Some(before)) = partner.get(finding.document) else { return true };
            match left.get_mut(&(*before, fingerprint(finding))) {
                Some(count) if *count > 0 => {
                    *count -= 1;
                    *known.entry((finding.document, finding.rule.to_string())).or_default() += 1;
                    false
                }
                _ => true,
            }
        });
        let unsure = unsure(self, earlier);
        // Of a rule that was not run this time, or whose list is not whole, nobody knows what is gone.
        let looked_for = |before: usize, fingerprint: &str| {
            let rule = fingerprint.lines().next().unwrap_or_default();
            let now = partner.iter().position(|partner| *partner == Some(before));
            // What was left out may hold what was found before.
            let whole = |now: usize| self.documents.get(now).is_some_and(|document| document.left_out.is_empty());
            let of_structure = ProblemKind::ALL.iter().any(|kind| kind.as_str() == rule);
            now.is_some_and(|now| self.ran(rule, now) && (of_structure || whole(now)))
                && !unsure.iter().any(|unsure| unsure == rule)
        };
        let gone = left
            .iter()
            .filter(|((before, fingerprint), _)| looked_for(*before, fingerprint))
            .map(|(_, count)| count)
            .sum();
        let compared = Compared { file: file.map(str::to_owned), known: known.values().sum(), gone, unsure };
        for ((document, rule), count) in &known {
            if let Some(document) = self.documents.get_mut(*document) {
                take(&mut document.rules, rule, *count);
            }
            take(&mut self.rules, rule, *count);
        }
        for document in &mut self.documents {
            document.count_again();
        }
        self.count_again();
        self.baseline = Some(compared);
    }
}

fn take(rules: &mut Vec<RuleTotal>, rule: &str, count: usize) {
    if let Some(total) = rules.iter_mut().find(|total| total.rule == rule) {
        total.total -= count;
        total.listed -= count;
    }
    rules.retain(|total| total.total > 0);
}

/// Rules of which a report lists fewer findings than it counts.
fn unsure(now: &Report, earlier: &Report) -> Vec<String> {
    let capped = |report: &Report| -> Vec<String> {
        report.rules.iter().filter(|rule| rule.listed < rule.total).map(|rule| rule.rule.clone()).collect()
    };
    let rules: BTreeSet<String> = capped(now).into_iter().chain(capped(earlier)).collect();
    rules.into_iter().collect()
}

/// For every document of a report, the one of the earlier report that it is a later state of.
fn partners(now: &Report, earlier: &Report) -> Vec<Option<usize>> {
    if let ([_], [_]) = (now.documents.as_slice(), earlier.documents.as_slice()) {
        return vec![Some(0)];
    }
    let mut taken = BTreeSet::new();
    let mut partner = vec![None; now.documents.len()];
    let alike: [fn(&crate::report::Document) -> Option<&String>; 2] = [|one| one.id.as_ref(), |one| one.file.as_ref()];
    for key in alike {
        for (place, document) in now.documents.iter().enumerate().filter(|(_, document)| key(document).is_some()) {
            if partner[place].is_none() {
                let found = earlier
                    .documents
                    .iter()
                    .enumerate()
                    .position(|(index, before)| key(before) == key(document) && !taken.contains(&index));
                if let Some(index) = found {
                    taken.insert(index);
                    partner[place] = Some(index);
                }
            }
        }
    }
    partner
}
