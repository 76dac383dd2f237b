//! Whether a change makes a document worse: whether it causes an error.

use std::collections::BTreeMap;

use obvert_model::read::ProblemKind;

use crate::finding::{Finding, Severity};
use crate::report::Report;
use crate::report::fingerprint::without_row_numbers;

/// Why a change makes a document worse; `None` if it does not. New errors that the next round fixes
/// do not count. `of_structure` tells whether the change fixes structural problems.
pub(super) fn worse(
    before: &Report,
    after: &Report,
    of_structure: bool,
    mended_next: impl Fn(&Finding) -> bool,
) -> Option<String> {
    // When more of the structure is right, the rules run over more of it, and find what was there
    // before.
    let alike = if of_structure {
        readable(before) && readable(after)
    } else {
        readable(before) == readable(after)
    };
    let counts = |finding: &&Finding| {
        finding.severity == Severity::Error && (alike || is_problem(&finding.rule))
    };
    let mut known: BTreeMap<String, usize> = BTreeMap::new();
    for finding in before.findings.iter().filter(counts) {
        *known.entry(name(finding)).or_default() += 1;
    }
    let listed = |rule: &str| {
        before
            .rules
            .iter()
            .find(|total| total.rule == rule)
            .is_none_or(|rule| rule.listed == rule.total)
    };
    let mut new: Vec<&Finding> = Vec::new();
    for finding in after.findings.iter().filter(counts).filter(|finding| listed(&finding.rule)) {
        match known.get_mut(&name(finding)).filter(|left| **left > 0) {
            Some(left) => *left -= 1,
            None if mended_next(finding) => {}
            None => new.push(finding),
        }
    }
    let first = new.first()?;
    let more = match new.len() - 1 {
        0 => String::new(),
        more => format!(", and {more} more"),
    };
    Some(format!(
        "it would bring an error that is not there now: {} [{}]{more}",
        first.message, first.rule
    ))
}

/// What a finding is about, without what a fix may change: the white space and case of ids, and the
/// facts.
fn name(finding: &Finding) -> String {
    let ids = [
        &finding.subject.record,
        &finding.subject.pipe,
        &finding.subject.run,
        &finding.subject.observation,
    ];
    let ids: Vec<String> = ids
        .into_iter()
        .map(|id| id.as_ref().map(|id| id.trim().to_lowercase()).unwrap_or_default())
        .collect();
    format!("{} {} {ids:?}", finding.rule, without_row_numbers(&finding.subject.path))
}

pub(super) fn is_problem(rule: &str) -> bool {
    ProblemKind::ALL.iter().any(|kind| kind.as_str() == rule)
}

/// Whether the rules were run. Duplicate ids and rows do not prevent that.
fn readable(report: &Report) -> bool {
    let harmless = [ProblemKind::DuplicateId, ProblemKind::DuplicateRow].map(ProblemKind::as_str);
    let hinders = |rule: &str| is_problem(rule) && !harmless.contains(&rule);
    !report.rules.iter().any(|total| hinders(&total.rule))
}
