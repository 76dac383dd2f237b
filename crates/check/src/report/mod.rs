//! The report of a check: what was checked, what was found, what could not be checked.
//!
//! ```
//! use obvert_check::{Checker, MINIMAL, Report, Settings};
//!
//! let report = Checker::new(Settings::default())?.check(MINIMAL.as_bytes())?;
//! let document = &report.documents[0];
//! assert_eq!((document.pipes, document.runs, document.totals.all()), (2, 3, 0));
//! // A rule that could not be run is listed with the reason.
//! assert_eq!(report.not_run[0].why, "the date of today was not given");
//! let json = serde_json::to_vec(&report)?;
//! assert_eq!(Report::read(&json)?, report);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod affected;
mod baseline;
mod document;
mod doubt;
pub(crate) mod example;
pub(crate) mod fingerprint;
mod merge;
mod structural;

use std::collections::BTreeMap;

use obvert_model::Location;
use obvert_model::read::locate_all;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::evidence::tables;
use crate::finding::{Finding, Severity};
use crate::rule::Rule;
use crate::settings::Settings;

pub(crate) use self::affected::describe;
pub use self::affected::{AffectedPipe, AffectedRun};
pub use self::baseline::Comparison;
pub use self::document::{CheckedDocument, DocumentInfo, LeftOut, OpenedFiles, RuleTotal, Totals};
pub(crate) use self::doubt::withdraw_fixes;
pub(crate) use self::structural::{is_structural, structural};

/// The version of the report's format.
const VERSION: &str = "0.4";

/// The program that made a report.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Tool {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

impl Tool {
    /// This program.
    pub(crate) fn this() -> Self {
        Self { name: "obvert".into(), version: env!("CARGO_PKG_VERSION").into() }
    }
}

/// Rules that could not be run, or did not apply, for one reason.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct NotRun {
    /// Why.
    pub why: String,
    /// The rules.
    pub rules: Vec<String>,
    /// The documents, by their index in `documents`, from 0.
    #[serde(default)]
    pub documents: Vec<usize>,
}

/// The severities and limits that the settings changed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct ChangedSettings {
    /// Rules whose severity was set, or `off`.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub severities: BTreeMap<String, String>,
    /// Limits that were set, as `rule.limit`, in the limit's unit.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub limits: BTreeMap<String, f64>,
}

impl ChangedSettings {
    fn by(settings: &Settings) -> Self {
        let word =
            |severity: &Option<Severity>| severity.map_or("off", Severity::as_str).to_owned();
        Self {
            severities: settings
                .severities
                .iter()
                .map(|(rule, severity)| (rule.clone(), word(severity)))
                .collect(),
            limits: settings
                .limits
                .iter()
                .map(|((rule, limit), value)| (format!("{rule}.{limit}"), *value))
                .collect(),
        }
    }

    /// Whether nothing was changed.
    #[must_use]
    pub(crate) fn is_empty(&self) -> bool {
        self.severities.is_empty() && self.limits.is_empty()
    }
}

/// The profile that the documents were checked against.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct ProfileIdentity {
    /// Its id.
    pub id: String,
    /// Its version.
    pub version: String,
    /// Its title.
    pub title: String,
    /// SHA-256 over its canonical form (RFC 8785), which identifies the file.
    pub digest: String,
}

/// Findings that the profile suppresses.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Suppressed {
    /// The rule.
    pub rule: String,
    /// Why.
    pub reason: String,
    /// How many there are.
    pub count: usize,
    /// The last day of the suppression, if it has one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub until: Option<String>,
    /// Whether that day is over. The findings are then counted and listed like any others.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub expired: bool,
    /// The document, by its index in `documents`, from 0.
    #[serde(default)]
    pub document: usize,
}

/// A rule of your own. The report has its documentation, since it is not in the catalogue.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct OwnRule {
    /// Its name.
    pub rule: String,
    /// The severity of its findings by default.
    pub severity: Severity,
    /// Its documentation, in Markdown with the headings of the catalogue's rules.
    pub documentation: String,
}

/// The report of a check of one or more documents.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Report {
    /// The version of the report's format.
    pub report: String,
    /// The program that made it.
    pub tool: Tool,
    /// The documents that were checked.
    pub documents: Vec<CheckedDocument>,
    /// The date that was used as today, if one was given.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub today: Option<String>,
    /// The profile that the documents were checked against.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub profile: Option<ProfileIdentity>,
    /// The severities and limits that the settings and the profile changed.
    #[serde(skip_serializing_if = "ChangedSettings::is_empty", default)]
    pub settings: ChangedSettings,
    /// Rules of your own, besides those of the catalogue.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub own_rules: Vec<OwnRule>,
    /// The comparison with an earlier report, if one was made. The report then has only the new
    /// findings.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub baseline: Option<Comparison>,
    /// Findings by severity, exact whether listed or not.
    pub totals: Totals,
    /// Findings by rule, exact whether listed or not.
    pub rules: Vec<RuleTotal>,
    /// Rules that could not be run, and why.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub not_run: Vec<NotRun>,
    /// Rules that did not apply: the document does not name, and no profile demands, what they
    /// compare it with.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub not_applicable: Vec<NotRun>,
    /// Findings that the profile suppresses. They are counted only here, unless the suppression has
    /// expired.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub suppressed: Vec<Suppressed>,
    /// The findings, in the order of the document.
    pub findings: Vec<Finding>,
}

impl OwnRule {
    fn of(rule: &Rule) -> Self {
        Self {
            rule: rule.name.into(),
            severity: rule.severity,
            documentation: rule.documentation.into(),
        }
    }
}

impl Report {
    pub(crate) fn new(
        document: CheckedDocument,
        settings: &Settings,
        profile: Option<ProfileIdentity>,
    ) -> Self {
        Self {
            report: VERSION.into(),
            tool: Tool::this(),
            documents: vec![document],
            today: settings.today.as_ref().map(ToString::to_string),
            profile,
            settings: ChangedSettings::by(settings),
            own_rules: settings.rules.iter().map(|rule| OwnRule::of(rule)).collect(),
            baseline: None,
            totals: Totals::default(),
            rules: Vec::new(),
            not_run: Vec::new(),
            not_applicable: Vec::new(),
            suppressed: Vec::new(),
            findings: Vec::new(),
        }
    }

    pub(crate) fn sort(&mut self) {
        self.findings.sort_by_cached_key(|finding| {
            let order = (finding.document, document_order(&finding.subject.path));
            (order, finding.rule.clone(), finding.message.clone())
        });
        sort_rules(&mut self.rules);
        for document in &mut self.documents {
            sort_rules(&mut document.rules);
        }
    }

    pub(crate) fn recount(&mut self) {
        self.totals = Totals::over(&self.rules);
    }

    /// The worst severity of its findings.
    #[must_use]
    pub fn worst(&self) -> Option<Severity> {
        Severity::ALL.into_iter().rev().find(|severity| self.totals.of(*severity) > 0)
    }

    /// Whether a rule was run on a document.
    #[must_use]
    pub fn ran(&self, rule: &str, document: usize) -> bool {
        self.settings.severities.get(rule).is_none_or(|severity| severity != "off")
            && self.documents.get(document).is_some_and(|document| document.info.error.is_none())
            && !self.not_run.iter().chain(&self.not_applicable).any(|not_run| {
                not_run.documents.contains(&document)
                    && not_run.rules.iter().any(|name| name == rule)
            })
    }

    /// Reads a report that was written as one JSON object. The old names of renamed rules become the
    /// new ones.
    ///
    /// # Errors
    /// If the source is not a report, or is a report of another version.
    pub fn read(source: &[u8]) -> Result<Self, serde_json::Error> {
        use serde::de::Error;
        let source = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
        let report: Self = serde_json::from_slice(source)?;
        if report.report != VERSION {
            let other = &report.report;
            return Err(serde_json::Error::custom(format!(
                "the report has version {other:?}; this version of obvert reads {VERSION}"
            )));
        }
        let documents = report.documents.len();
        if let Some(finding) = report.findings.iter().find(|finding| finding.document >= documents)
        {
            let index = finding.document;
            return Err(serde_json::Error::custom(format!(
                "a finding names document {index}, but the report has {documents}"
            )));
        }
        Ok(report)
    }

    /// Sets the name of the file, in documents that have none.
    pub fn name_file(&mut self, file: &str) {
        for document in &mut self.documents {
            document.info.file.get_or_insert_with(|| file.to_owned());
        }
    }

    /// Names the format that the document was read in.
    pub fn name_format(&mut self, format: &str) {
        for document in &mut self.documents {
            document.format.get_or_insert_with(|| format.to_owned());
        }
    }

    /// The schema of a report.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        let example =
            crate::report::example::report().and_then(|report| serde_json::to_value(report).ok());
        let title = "Report of a check of obvert survey documents";
        obvert_model::schema::of::<Self>("report", title, example.into_iter().collect())
    }

    /// Sets the locations of all findings, from one scan of the JSON source.
    pub fn locate_in(&mut self, source: &[u8], file: &str) {
        let locations =
            locate_all(source, self.findings.iter().map(|finding| finding.subject.path.as_str()));
        for finding in &mut self.findings {
            let place = locations.get(&finding.subject.path);
            if place.line > 0 {
                finding.at = Some(Location {
                    file: file.to_owned(),
                    line: place.line,
                    column: Some(place.column),
                    heading: None,
                });
            }
        }
    }

    /// Sets the locations of findings that have none, by a function of the finding.
    pub fn locate_missing(&mut self, mut locate: impl FnMut(&Finding) -> Option<Location>) {
        for finding in self.findings.iter_mut().filter(|finding| finding.at.is_none()) {
            finding.at = locate(finding);
        }
    }

    /// Sets the locations of all findings by a function of the pointer, for a document that is not
    /// JSON.
    pub fn locate_with(&mut self, mut locate: impl FnMut(&str) -> Option<Location>) {
        for finding in &mut self.findings {
            finding.at = locate(&finding.subject.path);
        }
    }
}

fn sort_rules(rules: &mut [RuleTotal]) {
    rules.sort_by(|a, b| (b.severity, &a.rule).cmp(&(a.severity, &b.rule)));
}

/// A sort key for the order of the document: tables in the order of the format, rows by number.
pub(crate) fn document_order(path: &str) -> Vec<(usize, String)> {
    path.split('/')
        .skip(1)
        .map(|token| match (token.parse::<usize>(), tables().position(|table| table == token)) {
            (Ok(number), _) => (number, String::new()),
            (_, Some(table)) => (table + 1, String::new()),
            _ => (0, token.to_owned()),
        })
        .collect()
}
