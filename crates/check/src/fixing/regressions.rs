//! Whether a fix causes an error that was not there before.

use std::collections::BTreeMap;

use obvert_model::read::ProblemKind;

use crate::finding::{Finding, Severity};
use crate::report::fingerprint::without_row_numbers;
use crate::report::{Report, is_structural};

/// The first new error after a fix, as a reason not to apply it; `None` if there is none. Errors
/// that the next round fixes do not count. `structural` tells whether the fix is of a structural
/// problem.
pub(super) fn find(
    before: &Report,
    after: &Report,
    structural: bool,
    fixed_next: impl Fn(&Finding) -> bool,
) -> Option<String> {
    // Once more of the structure is right, the rules check more of the document. Their findings
    // are not new then.
    let comparable = if structural {
        readable(before) && readable(after)
    } else {
        readable(before) == readable(after)
    };
    let counts = |finding: &&Finding| {
        finding.severity == Severity::Error && (comparable || is_structural(&finding.rule))
    };
    let mut known: BTreeMap<String, usize> = BTreeMap::new();
    for finding in before.findings.iter().filter(counts) {
        *known.entry(key(finding)).or_default() += 1;
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
        match known.get_mut(&key(finding)).filter(|count| **count > 0) {
            Some(count) => *count -= 1,
            None if fixed_next(finding) => {}
            None => new.push(finding),
        }
    }
    let first = new.first()?;
    let more = match new.len() - 1 {
        0 => String::new(),
        more => format!(", and {more} more"),
    };
    Some(format!("it would cause a new error: {} [{}]{more}", first.message, first.rule))
}

/// A key of a finding without what a fix may change: the white space and case of ids, and the
/// facts.
fn key(finding: &Finding) -> String {
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

/// Whether the rules checked the whole document. Duplicate ids and rows do not prevent that.
fn readable(report: &Report) -> bool {
    let harmless = [ProblemKind::DuplicateId, ProblemKind::DuplicateRow].map(ProblemKind::as_str);
    let prevents = |rule: &str| is_structural(rule) && !harmless.contains(&rule);
    !report.rules.iter().any(|total| prevents(&total.rule))
}
