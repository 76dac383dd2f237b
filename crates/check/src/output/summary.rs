//! What the reports of surveys add up to, while they are written one survey at a time.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::finding::Severity;
use crate::report::{Comparison, NotRun, Report, RuleTotal, Totals};

/// The sum of reports. It grows with the rules that have findings, not with the surveys.
///
/// ```
/// use obvert_check::output::Summary;
/// use obvert_check::{Checker, MINIMAL, Settings};
///
/// let checker = Checker::new(Settings::default())?;
/// let mut summary = Summary::default();
/// for _ in 0..2 {
///     summary.add(&checker.check(MINIMAL.as_bytes())?);
/// }
/// assert_eq!((summary.documents, summary.unread, summary.totals.all()), (2, 0, 0));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Summary {
    /// How many documents were checked.
    pub documents: usize,
    /// How many of them could not be read.
    pub unread: usize,
    /// How many findings are listed.
    pub listed: usize,
    /// Findings by severity, exact whether listed or not.
    pub totals: Totals,
    /// Findings by rule, exact whether listed or not.
    pub rules: Vec<RuleTotal>,
    /// Rules that could not be run, and why.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub not_run: Vec<NotRunTotal>,
    /// The comparison with an earlier report, if one was made.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub baseline: Option<Comparison>,
}

/// Rules that could not be run for one reason.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct NotRunTotal {
    /// Why.
    pub why: String,
    /// The rules.
    pub rules: Vec<String>,
    /// On how many documents.
    pub documents: usize,
}

impl Summary {
    /// The summary of a report.
    #[must_use]
    pub fn of(report: &Report) -> Self {
        let mut summary = Self::default();
        summary.add(report);
        summary
    }

    /// Adds the report of further documents.
    pub fn add(&mut self, report: &Report) {
        self.documents += report.documents.len();
        self.unread +=
            report.documents.iter().filter(|document| document.info.error.is_some()).count();
        self.listed += report.findings.len();
        for severity in Severity::ALL {
            self.totals.add(severity, report.totals.of(severity));
        }
        for found in &report.rules {
            match self.rules.iter_mut().find(|known| known.rule == found.rule) {
                Some(known) => {
                    known.total += found.total;
                    known.listed += found.listed;
                }
                None => self.rules.push(found.clone()),
            }
        }
        report.not_run.iter().for_each(|not_run| self.add_not_run(not_run));
        if report.baseline.is_some() {
            self.baseline.clone_from(&report.baseline);
        }
    }

    fn add_not_run(&mut self, not_run: &NotRun) {
        let NotRun { why, rules, documents } = not_run;
        let same = |known: &&mut NotRunTotal| known.why == *why && known.rules == *rules;
        match self.not_run.iter_mut().find(same) {
            Some(known) => known.documents += documents.len(),
            None => self.not_run.push(NotRunTotal {
                why: why.clone(),
                rules: rules.clone(),
                documents: documents.len(),
            }),
        }
    }

    /// The worst severity of the findings.
    #[must_use]
    pub fn worst(&self) -> Option<Severity> {
        Severity::ALL.into_iter().rev().find(|severity| self.totals.of(*severity) > 0)
    }
}

/// The findings and the unrun rules of each document of a report, by its index.
pub(super) struct ByDocument<'r> {
    pub(super) findings: Vec<&'r crate::finding::Finding>,
    pub(super) not_run: Vec<NotRun>,
    pub(super) not_applicable: Vec<NotRun>,
    pub(super) suppressed: Vec<&'r crate::report::Suppressed>,
}

/// Splits a report by document, in one pass.
pub(super) fn by_document(report: &Report) -> Vec<ByDocument<'_>> {
    let empty = || ByDocument {
        findings: Vec::new(),
        not_run: Vec::new(),
        not_applicable: Vec::new(),
        suppressed: Vec::new(),
    };
    let mut parts: Vec<ByDocument<'_>> = report.documents.iter().map(|_| empty()).collect();
    for finding in &report.findings {
        if let Some(part) = parts.get_mut(finding.document) {
            part.findings.push(finding);
        }
    }
    for suppressed in &report.suppressed {
        if let Some(part) = parts.get_mut(suppressed.document) {
            part.suppressed.push(suppressed);
        }
    }
    for (all, applies) in [(&report.not_run, true), (&report.not_applicable, false)] {
        for not_run in all {
            for index in &not_run.documents {
                let Some(part) = parts.get_mut(*index) else { continue };
                let list = if applies { &mut part.not_run } else { &mut part.not_applicable };
                list.push(NotRun { documents: vec![*index], ..not_run.clone() });
            }
        }
    }
    parts
}
