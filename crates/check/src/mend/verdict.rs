//! Whether a document is worse after a change than before: whether an error shows that did not.

use std::collections::BTreeMap;

use obvert_model::read::ProblemKind;

use crate::finding::{Finding, Severity};
use crate::report::Report;
use crate::report::fingerprint::without_row_numbers;

/// Why a document is worse after a change, where it is. New errors for which `mended_next` holds do not count.
/// `of_structure`: whether the change mends structural problems.
pub(super) fn worse(
    before: &Report,
    after: &Report,
    of_structure: bool,
    mended_next: impl Fn(&Finding) -> bool,
) -> Option<String> {
    // Once more of the structure is right the rules are run over more of it, and what they find was there all along.
    let alike = if of_structure { readable(before) && readable(after) } else { readable(before) == readable(after) };
    let counts = |finding: &&Finding| finding.severity == Severity::Error && (alike || is_problem(&finding.rule));
    let mut known: BTreeMap<String, usize> = BTreeMap::new();
    for finding in before.findings.iter().filter(counts) {
        *known.entry(name(finding)).or_default() += 1;
    }
    let listed =
        |rule: &str| before.rules.iter().find(|total| total.rule == rule).is_none_or(|rule| rule.listed == rule.total);
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
    Some(format!("it would bring an error that is not there now: {} [{}]{more}", first.message, first.rule))
}

/// What a finding is about, as far as a mend leaves that alone: an id may lose its white space or its case on the way, and
/// the facts behind a message change with the values.
fn name(finding: &Finding) -> String {
    let ids = [&finding.subject.record, &finding.subject.pipe, &finding.subject.run, &finding.subject.observation];
    let ids: Vec<String> =
        ids.into_iter().map(|id| id.as_ref().map(|id| id.trim().to_lowercase()).unwrap_or_default()).collect();
    format!("{} {} {ids:?}", finding.rule, without_row_numbers(&finding.subject.path))
}

pub(super) fn is_problem(rule: &str) -> bool {
    ProblemKind::ALL.iter().any(|kind| kind.as_str() == rule)
}

/// Whether the rules were run. Ids and rows that stand twice do not hinder that.
fn readable(report: &Report) -> bool {
    let harmless = [ProblemKind::DuplicateId, ProblemKind::DuplicateRow].map(ProblemKind::as_str);
    let hinders = |rule: &str| is_problem(rule) && !harmless.contains(&rule);
    !report.rules.iter().any(|total| hinders(&total.rule))
}
