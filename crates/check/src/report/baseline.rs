//! Comparing a report with an earlier one, so that only new findings are listed and counted.

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::report::fingerprint::fingerprint;
use crate::report::{DocumentInfo, Report, RuleTotal, is_structural};

/// The comparison with an earlier report.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Comparison {
    /// The file of the earlier report; absent if it was not named.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub file: Option<String>,
    /// How many findings the earlier report already had. They are neither listed nor counted in the
    /// totals.
    pub known: usize,
    /// How many findings of the earlier report are resolved. Only rules that were run this time
    /// count.
    pub resolved: usize,
    /// Rules whose findings are not all listed in both reports. Unlisted findings cannot be
    /// recognised, so known findings of these rules may count as new.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub uncertain: Vec<String>,
}

impl Report {
    /// Removes the findings that an earlier report already has. Documents are matched by id, or
    /// else by file; if each report has one document, these match. Two findings are the same if
    /// they have the same rule, ids, field and facts, even if their rows have moved.
    pub fn compare_with(&mut self, earlier: &Self, file: Option<&str>) {
        let matches = match_documents(self, earlier);
        let mut unmatched: BTreeMap<(usize, String), usize> = BTreeMap::new();
        for finding in &earlier.findings {
            *unmatched.entry((finding.document, fingerprint(finding))).or_default() += 1;
        }
        let mut known: BTreeMap<(usize, String), usize> = BTreeMap::new();
        self.findings.retain(|finding| {
            let Some(Some(before)) = matches.get(finding.document) else { return true };
            match unmatched.get_mut(&(*before, fingerprint(finding))) {
                Some(count) if *count > 0 => {
                    *count -= 1;
                    *known.entry((finding.document, finding.rule.to_string())).or_default() += 1;
                    false
                }
                _ => true,
            }
        });
        let uncertain = uncertain(self, earlier);
        // A finding is resolved only if this check would have found it.
        let would_be_found = |before: usize, fingerprint: &str| {
            let rule = fingerprint.lines().next().unwrap_or_default();
            let now = matches.iter().position(|earlier| *earlier == Some(before));
            // The finding may still be in the part that was left out.
            let complete = |now: usize| {
                self.documents.get(now).is_some_and(|document| document.left_out.is_empty())
            };
            now.is_some_and(|now| self.ran(rule, now) && (is_structural(rule) || complete(now)))
                && !uncertain.iter().any(|uncertain| uncertain == rule)
        };
        let resolved = unmatched
            .iter()
            .filter(|((before, fingerprint), _)| would_be_found(*before, fingerprint))
            .map(|(_, count)| count)
            .sum();
        let compared = Comparison {
            file: file.map(str::to_owned),
            known: known.values().sum(),
            resolved,
            uncertain,
        };
        for ((document, rule), count) in &known {
            if let Some(document) = self.documents.get_mut(*document) {
                subtract(&mut document.rules, rule, *count);
            }
            subtract(&mut self.rules, rule, *count);
        }
        for document in &mut self.documents {
            document.recount();
        }
        self.recount();
        self.baseline = Some(compared);
    }
}

fn subtract(rules: &mut Vec<RuleTotal>, rule: &str, count: usize) {
    if let Some(total) = rules.iter_mut().find(|total| total.rule == rule) {
        total.total -= count;
        total.listed -= count;
    }
    rules.retain(|total| total.total > 0);
}

/// Rules of which one of the reports lists fewer findings than it counts.
fn uncertain(now: &Report, earlier: &Report) -> Vec<String> {
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

/// For every document of a report, the index of the same document in the earlier report.
fn match_documents(now: &Report, earlier: &Report) -> Vec<Option<usize>> {
    if let ([_], [_]) = (now.documents.as_slice(), earlier.documents.as_slice()) {
        return vec![Some(0)];
    }
    let mut taken = BTreeSet::new();
    let mut matches = vec![None; now.documents.len()];
    let keys: [fn(&DocumentInfo) -> Option<&String>; 2] =
        [|info| info.id.as_ref(), |info| info.file.as_ref()];
    for key in keys {
        for (document, matched) in now.documents.iter().zip(&mut matches) {
            if matched.is_some() || key(&document.info).is_none() {
                continue;
            }
            let same = |index: &usize| {
                key(&earlier.documents[*index].info) == key(&document.info)
                    && !taken.contains(index)
            };
            *matched = (0..earlier.documents.len()).find(same);
            taken.extend(*matched);
        }
    }
    matches
}
