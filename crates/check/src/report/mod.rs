//! The report of a check: what was checked, what was found, what could not be checked.

mod baseline;
mod concerned;
mod document;
pub(crate) mod example;
pub(crate) mod fingerprint;
mod merge;
mod renamed;
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

pub use self::baseline::Compared;
pub(crate) use self::concerned::describe;
pub use self::concerned::{Concerned, ConcernedRun};
pub use self::document::{Document, LeftOut, RuleTotal, Totals};
pub(crate) use self::structural::structural;

/// The version of the report's format.
const VERSION: &str = "0.3";

/// The program that made a report.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Tool {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

/// A rule that could not be run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct NotRun {
    /// Why.
    pub why: String,
    /// The rules.
    pub rules: Vec<String>,
    /// The documents, by their index in `documents`, from 0.
    #[serde(default)]
    pub documents: Vec<usize>,
}

/// What the settings changed in the catalogue.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Changed {
    /// Rules whose severity was set, or `off`.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub severities: BTreeMap<String, String>,
    /// Limits that were set, as `rule.limit`, in the limit's unit.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub limits: BTreeMap<String, f64>,
}

impl Changed {
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
    pub fn is_empty(&self) -> bool {
        self.severities.is_empty() && self.limits.is_empty()
    }
}

/// The profile that the documents were checked against.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Stamp {
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
    /// Whether that day is over. The findings are counted and listed then like any others.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub expired: bool,
    /// The document, by its index in `documents`, from 0.
    #[serde(default)]
    pub document: usize,
}

/// A rule of your own that was run. It is described here, since it is not in the catalogue.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct OwnRule {
    /// Its name.
    pub rule: String,
    /// The severity of its findings by default.
    pub severity: Severity,
    /// Its documentation, in Markdown with the headings of the catalogue's rules.
    pub documentation: String,
}

/// The report of a check of one document or of several.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Report {
    /// The version of the report's format.
    pub report: String,
    /// The program that made it.
    pub tool: Tool,
    /// The documents that were checked.
    pub documents: Vec<Document>,
    /// The date that was used as today, if one was given.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub today: Option<String>,
    /// The profile that the documents were checked against.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub profile: Option<Stamp>,
    /// What the settings and the profile changed in the catalogue.
    #[serde(skip_serializing_if = "Changed::is_empty", default)]
    pub settings: Changed,
    /// Rules of your own, besides those of the catalogue.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub own_rules: Vec<OwnRule>,
    /// The comparison with an earlier report, if there was one. The totals and the findings are
    /// then those that are new.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub baseline: Option<Compared>,
    /// Findings by severity, exact whether listed or not.
    pub totals: Totals,
    /// Findings by rule, exact whether listed or not.
    pub rules: Vec<RuleTotal>,
    /// Rules that could not be run, and why.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub not_run: Vec<NotRun>,
    /// Rules that did not apply, since what they check a document against is neither named nor
    /// demanded.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub idle: Vec<NotRun>,
    /// Findings that the profile suppresses. They are counted only here, unless the suppression has
    /// ended.
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
    pub(crate) fn new(document: Document, settings: &Settings, profile: Option<Stamp>) -> Self {
        Self {
            report: VERSION.into(),
            tool: Tool { name: "obvert".into(), version: env!("CARGO_PKG_VERSION").into() },
            documents: vec![document],
            today: settings.today.as_ref().map(ToString::to_string),
            profile,
            settings: Changed::by(settings),
            own_rules: settings.rules.iter().map(|rule| OwnRule::of(rule)).collect(),
            baseline: None,
            totals: Totals::default(),
            rules: Vec::new(),
            not_run: Vec::new(),
            idle: Vec::new(),
            suppressed: Vec::new(),
            findings: Vec::new(),
        }
    }

    pub(crate) fn sort(&mut self) {
        self.findings.sort_by_cached_key(|finding| {
            let place = (finding.document, document_order(&finding.subject.path));
            (place, finding.rule.clone(), finding.message.clone())
        });
        sort_rules(&mut self.rules);
        for document in &mut self.documents {
            sort_rules(&mut document.rules);
        }
    }

    pub(crate) fn count_again(&mut self) {
        self.totals = Totals::over(&self.rules);
    }

    /// The worst severity found.
    #[must_use]
    pub fn worst(&self) -> Option<Severity> {
        Severity::ALL.into_iter().rev().find(|severity| self.totals.of(*severity) > 0)
    }

    /// Whether a rule was run on a document.
    #[must_use]
    pub fn ran(&self, rule: &str, document: usize) -> bool {
        self.settings.severities.get(rule).is_none_or(|severity| severity != "off")
            && self.documents.get(document).is_some_and(|document| document.error.is_none())
            && !self.not_run.iter().chain(&self.idle).any(|not_run| {
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
        let mut report: Self = serde_json::from_slice(source)?;
        if report.report != VERSION {
            let other = &report.report;
            return Err(serde_json::Error::custom(format!(
                "a report of version {other:?}; this is {VERSION}"
            )));
        }
        let documents = report.documents.len();
        if let Some(finding) = report.findings.iter().find(|finding| finding.document >= documents)
        {
            let place = finding.document;
            return Err(serde_json::Error::custom(format!(
                "a finding is about document {place} of {documents}"
            )));
        }
        report.use_current_rule_names();
        Ok(report)
    }

    /// Sets the name of the file, in documents that have none.
    pub fn name_file(&mut self, file: &str) {
        for document in &mut self.documents {
            document.file.get_or_insert_with(|| file.to_owned());
        }
    }

    /// Names the format that the document was read in.
    pub fn name_format(&mut self, format: &str) {
        for document in &mut self.documents {
            document.format.get_or_insert_with(|| format.to_owned());
        }
    }

    /// A report that a file could not be read.
    #[must_use]
    pub fn unread(file: &str, error: &str) -> Self {
        let document = Document {
            file: Some(file.to_owned()),
            error: Some(error.to_owned()),
            ..Document::default()
        };
        Self::new(document, &Settings::default(), None)
    }

    /// The schema of a report.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        let example =
            crate::report::example::report().and_then(|report| serde_json::to_value(report).ok());
        let title = "Report of a check of obvert survey documents";
        obvert_model::schema::of::<Self>("report", title, example.into_iter().collect())
    }

    /// Finds the locations of all findings in a JSON source, in one scan.
    pub fn place_in(&mut self, source: &[u8], file: &str) {
        let places =
            locate_all(source, self.findings.iter().map(|finding| finding.subject.path.as_str()));
        for finding in &mut self.findings {
            let place = places.get(&finding.subject.path);
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

    /// Finds locations that are not known yet by a function of the finding.
    pub fn place_each(&mut self, mut place: impl FnMut(&Finding) -> Option<Location>) {
        for finding in self.findings.iter_mut().filter(|finding| finding.at.is_none()) {
            finding.at = place(finding);
        }
    }

    /// Finds the locations of all findings by a function of the pointer, for a document in another
    /// format than JSON.
    pub fn place_with(&mut self, mut place: impl FnMut(&str) -> Option<Location>) {
        for finding in &mut self.findings {
            finding.at = place(&finding.subject.path);
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
