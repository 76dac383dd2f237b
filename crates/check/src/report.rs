//! The report of a check: what was looked at, what was found, what could not be looked at.

use std::collections::BTreeMap;

use obvert_model::read::{ProblemKind, locate_all};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::finding::{Finding, Severity, SourcePlace};

/// The program that made a report.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Tool {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

/// The document that was checked.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Document {
    /// The file, as it was named; absent when none was.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub file: Option<String>,
    /// The document's id.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub id: Option<String>,
    /// The unit of every distance in the report.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub length_unit: Option<String>,
    /// Why it could not be read, where it could not.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub error: Option<String>,
    /// How many pipes it has.
    pub pipes: usize,
    /// How many runs it has.
    pub runs: usize,
    /// How many observations it has.
    pub observations: usize,
}

/// Findings by severity.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Totals {
    /// Errors.
    pub error: usize,
    /// Warnings.
    pub warning: usize,
    /// Notes.
    pub note: usize,
}

/// How often a rule fired.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RuleTotal {
    /// The rule.
    pub rule: String,
    /// Its severity in this check.
    pub severity: Severity,
    /// How many findings there are.
    pub total: usize,
    /// How many of them stand in `findings`.
    pub listed: usize,
}

/// A rule that could not be run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct NotRun {
    /// Why.
    pub why: String,
    /// The rules.
    pub rules: Vec<String>,
}

/// The report of one check, of one document or of several.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Report {
    /// The version of the report's form.
    pub report: String,
    /// The program that made it.
    pub tool: Tool,
    /// The documents that were checked.
    pub documents: Vec<Document>,
    /// The date that was taken for today, where one was given.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub today: Option<String>,
    /// Findings by severity, exact whether listed or not.
    pub totals: Totals,
    /// Findings by rule, exact whether listed or not.
    pub rules: Vec<RuleTotal>,
    /// Rules that could not be run, and why.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub not_run: Vec<NotRun>,
    /// The findings, in the order of the document.
    pub findings: Vec<Finding>,
}

impl Report {
    pub(crate) fn new(document: Document, today: Option<String>) -> Self {
        Self {
            report: "0.1".into(),
            tool: Tool { name: "obvert".into(), version: env!("CARGO_PKG_VERSION").into() },
            documents: vec![document],
            today,
            totals: Totals::default(),
            rules: Vec::new(),
            not_run: Vec::new(),
            findings: Vec::new(),
        }
    }

    pub(crate) fn add(&mut self, rule: &str, severity: Severity, total: usize, kept: Vec<Finding>) {
        if total == 0 {
            return;
        }
        match severity {
            Severity::Error => self.totals.error += total,
            Severity::Warning => self.totals.warning += total,
            Severity::Note => self.totals.note += total,
        }
        self.rules.push(RuleTotal { rule: rule.into(), severity, total, listed: kept.len() });
        self.findings.extend(kept);
    }

    pub(crate) fn sort(&mut self) {
        self.findings
            .sort_by_cached_key(|finding| (order(&finding.path), finding.rule.clone(), finding.message.clone()));
        self.rules.sort_by(|a, b| (b.severity, &a.rule).cmp(&(a.severity, &b.rule)));
    }

    /// The worst severity found.
    #[must_use]
    pub fn worst(&self) -> Option<Severity> {
        let Totals { error, warning, note } = self.totals;
        [(error, Severity::Error), (warning, Severity::Warning), (note, Severity::Note)]
            .into_iter()
            .find_map(|(count, severity)| (count > 0).then_some(severity))
    }

    /// Adds the report of another document. The findings keep the order of the documents.
    pub fn join(&mut self, other: Self) {
        self.documents.extend(other.documents);
        self.totals.error += other.totals.error;
        self.totals.warning += other.totals.warning;
        self.totals.note += other.totals.note;
        for theirs in other.rules {
            match self.rules.iter_mut().find(|ours| ours.rule == theirs.rule) {
                Some(ours) => {
                    ours.total += theirs.total;
                    ours.listed += theirs.listed;
                }
                None => self.rules.push(theirs),
            }
        }
        self.rules.sort_by(|a, b| (b.severity, &a.rule).cmp(&(a.severity, &b.rule)));
        for theirs in other.not_run {
            match self.not_run.iter_mut().find(|ours| ours.why == theirs.why) {
                Some(ours) => {
                    ours.rules.extend(theirs.rules);
                    ours.rules.sort();
                    ours.rules.dedup();
                }
                None => self.not_run.push(theirs),
            }
        }
        self.findings.extend(other.findings);
    }

    /// Names the file that the report is about.
    pub fn name_file(&mut self, file: &str) {
        for document in &mut self.documents {
            document.file.get_or_insert_with(|| file.to_owned());
        }
    }

    /// A report that says only that a file could not be read.
    #[must_use]
    pub fn unread(file: &str, error: &str) -> Self {
        Self::new(Document { file: Some(file.to_owned()), error: Some(error.to_owned()), ..Document::default() }, None)
    }

    /// The schema of a report.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        obvert_model::schema::of::<Self>("report", "Report of a check of obvert survey documents")
    }

    /// Fills in the places of all findings in a JSON source, in one scan of it.
    pub fn place_in(&mut self, source: &[u8], file: &str) {
        let places = locate_all(source, self.findings.iter().map(|finding| finding.path.as_str()));
        for finding in &mut self.findings {
            let place = places.get(&finding.path);
            if place.line > 0 {
                finding.at = Some(SourcePlace {
                    file: file.to_owned(),
                    line: place.line,
                    column: Some(place.column),
                    heading: None,
                });
            }
        }
    }

    /// Fills in the places of all findings by a function, for a document that was read from another form.
    pub fn place_with(&mut self, mut place: impl FnMut(&str) -> Option<SourcePlace>) {
        for finding in &mut self.findings {
            finding.at = place(&finding.path);
        }
    }
}

/// The order of the document: tables in the order of the format, rows by number.
fn order(path: &str) -> Vec<(usize, String)> {
    const TABLES: [&str; 8] = ["parties", "equipment", "structures", "pipes", "media", "locates", "ratings", "runs"];
    path.split('/')
        .skip(1)
        .map(|token| match (token.parse::<usize>(), TABLES.iter().position(|table| *table == token)) {
            (Ok(number), _) => (number, String::new()),
            (_, Some(table)) => (table + 1, String::new()),
            _ => (0, token.to_owned()),
        })
        .collect()
}

/// A structural problem as a finding.
pub(crate) fn structural(problem: &obvert_model::read::Problem) -> Finding {
    Finding {
        rule: problem.kind.as_str().into(),
        severity: Severity::Error,
        message: problem.message.clone(),
        path: problem.pointer.clone(),
        at: None,
        pipe: None,
        run: None,
        observation: None,
        distance: None,
        params: BTreeMap::new(),
        help: Some(match &problem.suggestion {
            Some(near) => format!("did you mean {near:?}?"),
            None => ProblemKind::meaning(problem.kind).to_owned(),
        }),
    }
}
