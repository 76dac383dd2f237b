//! Comparing a report with an earlier one: known findings are left out, so that only new ones are
//! listed and counted.

use std::collections::{BTreeMap, BTreeSet};

use obvert_model::read::ProblemKind;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::report::fingerprint::fingerprint;
use crate::report::{Report, RuleTotal};

/// The comparison with an earlier report.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Compared {
    /// The file of the earlier report; absent if it was not named.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub file: Option<String>,
    /// How many findings the earlier report had already. They are neither listed nor counted in the
    /// totals.
    pub known: usize,
    /// How many findings of the earlier report are resolved, of rules that were run this time as
    /// well.
    pub gone: usize,
    /// Rules of which one of the two reports counted findings that it did not list. Unlisted
    /// findings cannot be recognised, so known findings of these rules may count as new.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub unsure: Vec<String>,
}

impl Report {
    /// Leaves out the findings of an earlier report. Documents are matched by id, or else by file;
    /// the only documents of two reports always match. Findings are the same if their rule, the ids
    /// of their subject, the field and the facts are, wherever they are now.
    pub fn compare_with(&mut self, earlier: &Self, file: Option<&str>) {
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
        // If a rule was not run this time, or did not list everything, it is unknown what is
        // resolved.
        let looked_for = |before: usize, fingerprint: &str| {
            let rule = fingerprint.lines().next().unwrap_or_default();
            let now = partner.iter().position(|partner| *partner == Some(before));
            // The part that was left out may still have the finding.
            let whole = |now: usize| {
                self.documents.get(now).is_some_and(|document| document.left_out.is_empty())
            };
            let of_structure = ProblemKind::ALL.iter().any(|kind| kind.as_str() == rule);
            now.is_some_and(|now| self.ran(rule, now) && (of_structure || whole(now)))
                && !unsure.iter().any(|unsure| unsure == rule)
        };
        let gone = left
            .iter()
            .filter(|((before, fingerprint), _)| looked_for(*before, fingerprint))
            .map(|(_, count)| count)
            .sum();
        let compared =
            Compared { file: file.map(str::to_owned), known: known.values().sum(), gone, unsure };
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
        report
            .rules
            .iter()
            .filter(|rule| rule.listed < rule.total)
            .map(|rule| rule.rule.clone())
            .collect()
    };
    let rules: BTreeSet<String> = capped(now).into_iter().chain(capped(earlier)).collect();
    rules.into_iter().collect()
}

/// For every document of a report, the same document in the earlier report.
fn partners(now: &Report, earlier: &Report) -> Vec<Option<usize>> {
    if let ([_], [_]) = (now.documents.as_slice(), earlier.documents.as_slice()) {
        return vec![Some(0)];
    }
    let mut taken = BTreeSet::new();
    let mut partner = vec![None; now.documents.len()];
    let alike: [fn(&crate::report::Document) -> Option<&String>; 2] =
        [|one| one.id.as_ref(), |one| one.file.as_ref()];
    for key in alike {
        for (place, document) in
            now.documents.iter().enumerate().filter(|(_, document)| key(document).is_some())
        {
            if partner[place].is_none() {
                let found = earlier.documents.iter().enumerate().position(|(index, before)| {
                    key(before) == key(document) && !taken.contains(&index)
                });
                if let Some(index) = found {
                    taken.insert(index);
                    partner[place] = Some(index);
                }
            }
        }
    }
    partner
}
