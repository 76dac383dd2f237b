//! The report of a check: what was looked at, what was found, what could not be looked at.

mod baseline;
mod concerned;
pub(crate) mod example;
pub(crate) mod fingerprint;

use std::collections::BTreeMap;

use obvert_model::Location;
use obvert_model::read::{ProblemKind, locate_all};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::finding::{Finding, Severity};
use crate::output::count;
use crate::settings::Settings;

pub use self::baseline::Compared;
pub(crate) use self::concerned::describe;
pub use self::concerned::{Concerned, ConcernedRun};

/// The version of the report's form.
const VERSION: &str = "0.2";

/// The program that made a report.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Tool {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

/// The document that was checked.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Document {
    /// The file, as it was named; absent when none was.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub file: Option<String>,
    /// The form that it was read in, where the reader says so: `json`, `xml`, `csv`, `csv-zip`, `geojson`, `xlsx`, `geopackage`.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub form: Option<String>,
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
    /// What could not be read and was left out, so that the rules ran over the rest.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub left_out: Vec<LeftOut>,
    /// How many findings on the rest were withheld, since they may only follow from what was left out.
    #[serde(skip_serializing_if = "is_none", default)]
    pub withheld: usize,
    /// Its findings by severity, exact whether listed or not.
    #[serde(default)]
    pub totals: Totals,
    /// Its findings by rule, exact whether listed or not.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub rules: Vec<RuleTotal>,
    /// The pipes that its listed findings concern, in the order of their table: enough to draw each finding at its
    /// distance without the document.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub concerned: Vec<Concerned>,
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

impl Totals {
    /// How many there are of a severity.
    #[must_use]
    pub const fn of(&self, severity: Severity) -> usize {
        match severity {
            Severity::Error => self.error,
            Severity::Warning => self.warning,
            Severity::Note => self.note,
        }
    }

    /// How many there are of any severity.
    #[must_use]
    pub const fn all(&self) -> usize {
        self.error + self.warning + self.note
    }

    fn over(rules: &[RuleTotal]) -> Self {
        let mut totals = Self::default();
        for rule in rules {
            totals.add(rule.severity, rule.total);
        }
        totals
    }

    fn add(&mut self, severity: Severity, count: usize) {
        match severity {
            Severity::Error => self.error += count,
            Severity::Warning => self.warning += count,
            Severity::Note => self.note += count,
        }
    }
}

impl Document {
    /// What was left out of the check, in a sentence without its full stop; `None` where nothing was.
    #[must_use]
    pub fn incomplete(&self) -> Option<String> {
        // Of a table that is missing below rows, no row is known: /runs/-/observations.
        let is_table = |path: &str| path.matches('/').count() == 1 || path.contains("/-/") && !path.ends_with("/-");
        let tables = self.left_out.iter().filter(|out| out.row && is_table(&out.path)).count();
        let rows = self.left_out.iter().filter(|out| out.row).count() - tables;
        let some = |number: usize, word: &str| (number > 0).then(|| count(number, word));
        let values = self.left_out.len() - rows - tables;
        let parts = [some(tables, "table"), some(rows, "row"), some(values, "value")];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        if parts.is_empty() {
            return None;
        }
        let (parts, were) = (parts.join(" and "), if self.left_out.len() == 1 { "was" } else { "were" });
        let are = if self.withheld == 1 { "is" } else { "are" };
        let withheld = some(self.withheld, "finding");
        let withheld = withheld.map(|findings| format!("; {findings} that may follow from that alone {are} withheld"));
        let withheld = withheld.unwrap_or_default();
        Some(format!("{parts} that could not be read {were} left out, and the rules ran over the rest{withheld}"))
    }

    pub(crate) fn count_again(&mut self) {
        self.totals = Totals::over(&self.rules);
    }
}

/// The signature is serde's.
#[allow(clippy::trivially_copy_pass_by_ref)]
fn is_none(count: &usize) -> bool {
    *count == 0
}

/// Something that could not be read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LeftOut {
    /// Where it stands, as a JSON Pointer (RFC 6901) into the document.
    pub path: String,
    /// Whether it is a whole row of a table, or a table; otherwise it is a value that may be absent, or a key that the
    /// format does not have.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub row: bool,
}

#[cfg(feature = "diagnose")]
impl LeftOut {
    pub(crate) fn new(out: &obvert_model::read::LeftOut) -> Self {
        let astray = out.kind == ProblemKind::OrphanRow;
        const TABLES: [&str; 8] =
            ["parties", "equipment", "structures", "pipes", "media", "locates", "ratings", "runs"];
        let last = out.pointer.rsplit('/').next().unwrap_or_default();
        let table = TABLES.iter().any(|table| out.pointer.strip_prefix('/') == Some(table));
        Self {
            path: out.pointer.clone(),
            row: astray || last.parse::<usize>().is_ok() || last == "observations" || table,
        }
    }
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
    /// The documents that they were not run on, by their places in `documents`, from 0.
    #[serde(default)]
    pub documents: Vec<usize>,
}

/// What the settings of a check changed in the catalogue.
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
        let word = |severity: &Option<Severity>| severity.map_or("off", Severity::as_str).to_owned();
        Self {
            severities: settings.severities.iter().map(|(rule, severity)| (rule.clone(), word(severity))).collect(),
            limits: settings.limits.iter().map(|((rule, limit), value)| (format!("{rule}.{limit}"), *value)).collect(),
        }
    }

    /// Whether nothing was changed.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.severities.is_empty() && self.limits.is_empty()
    }
}

/// The profile that documents were held against.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Stamp {
    /// Its id.
    pub id: String,
    /// Its version.
    pub version: String,
    /// Its title.
    pub title: String,
    /// SHA-256 over its canonical form (RFC 8785), so that nobody need wonder which file it was.
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
    /// The last day of the suppression, where it has one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub until: Option<String>,
    /// Whether that day is over: the findings are then counted and listed as any others.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub expired: bool,
    /// The document, by its place in `documents`, from 0.
    #[serde(default)]
    pub document: usize,
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
    /// The profile that the documents were held against.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub profile: Option<Stamp>,
    /// What the settings and the profile changed in the catalogue.
    #[serde(skip_serializing_if = "Changed::is_empty", default)]
    pub settings: Changed,
    /// What an earlier report knew already, where the check was held against one. The totals and the findings are then
    /// those that are new.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub baseline: Option<Compared>,
    /// Findings by severity, exact whether listed or not.
    pub totals: Totals,
    /// Findings by rule, exact whether listed or not.
    pub rules: Vec<RuleTotal>,
    /// Rules that could not be run, and why.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub not_run: Vec<NotRun>,
    /// Rules that had nothing to do, since what they hold a document against is neither named nor demanded. Nothing is
    /// wrong with that.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub idle: Vec<NotRun>,
    /// Findings that the profile suppresses: counted here and nowhere else, unless the suppression has ended.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub suppressed: Vec<Suppressed>,
    /// The findings, in the order of the document.
    pub findings: Vec<Finding>,
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
            baseline: None,
            totals: Totals::default(),
            rules: Vec::new(),
            not_run: Vec::new(),
            idle: Vec::new(),
            suppressed: Vec::new(),
            findings: Vec::new(),
        }
    }

    pub(crate) fn add(&mut self, rule: &str, severity: Severity, total: usize, kept: Vec<Finding>) {
        if total == 0 {
            return;
        }
        let of_rule = RuleTotal { rule: rule.into(), severity, total, listed: kept.len() };
        if let Some(document) = self.documents.first_mut() {
            document.totals.add(severity, total);
            document.rules.push(of_rule.clone());
        }
        self.totals.add(severity, total);
        self.rules.push(of_rule);
        self.findings.extend(kept);
    }

    pub(crate) fn sort(&mut self) {
        self.findings
            .sort_by_cached_key(|finding| (order(&finding.path), finding.rule.clone(), finding.message.clone()));
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

    /// Whether a rule was run on a document: it is not turned off, and nothing stood in its way.
    #[must_use]
    pub fn ran(&self, rule: &str, document: usize) -> bool {
        self.settings.severities.get(rule).is_none_or(|severity| severity != "off")
            && self.documents.get(document).is_some_and(|document| document.error.is_none())
            && !self
                .not_run
                .iter()
                .chain(&self.idle)
                .any(|not_run| not_run.documents.contains(&document) && not_run.rules.iter().any(|name| name == rule))
    }

    /// Adds the report of another document. The findings keep the order of the documents.
    pub fn join(&mut self, other: Self) {
        let before = self.documents.len();
        self.documents.extend(other.documents);
        self.today = self.today.take().or(other.today);
        self.profile = self.profile.take().or(other.profile);
        if self.settings.is_empty() {
            self.settings = other.settings;
        }
        for severity in Severity::ALL {
            self.totals.add(severity, other.totals.of(severity));
        }
        for theirs in other.rules {
            match self.rules.iter_mut().find(|ours| ours.rule == theirs.rule) {
                Some(ours) => {
                    ours.total += theirs.total;
                    ours.listed += theirs.listed;
                }
                None => self.rules.push(theirs),
            }
        }
        sort_rules(&mut self.rules);
        join_not_run(&mut self.not_run, other.not_run, before);
        join_not_run(&mut self.idle, other.idle, before);
        self.suppressed.extend(other.suppressed.into_iter().map(|mut suppressed| {
            suppressed.document += before;
            suppressed
        }));
        self.findings.extend(other.findings.into_iter().map(|mut finding| {
            finding.document += before;
            finding
        }));
    }

    /// The part of the report that is about one of its documents, by its place in `documents`.
    #[must_use]
    pub fn of_document(&self, document: usize) -> Self {
        let own = self.documents.get(document);
        let mut part = Self {
            documents: own.cloned().into_iter().collect(),
            totals: own.map(|own| own.totals).unwrap_or_default(),
            rules: own.map(|own| own.rules.clone()).unwrap_or_default(),
            not_run: self.not_run.iter().filter(|not_run| not_run.documents.contains(&document)).cloned().collect(),
            idle: self.idle.iter().filter(|idle| idle.documents.contains(&document)).cloned().collect(),
            suppressed: self.suppressed.iter().filter(|held| held.document == document).cloned().collect(),
            findings: self.findings.iter().filter(|finding| finding.document == document).cloned().collect(),
            report: self.report.clone(),
            tool: self.tool.clone(),
            today: self.today.clone(),
            profile: self.profile.clone(),
            settings: self.settings.clone(),
            baseline: self.baseline.clone(),
        };
        part.not_run.iter_mut().chain(&mut part.idle).for_each(|not_run| not_run.documents = vec![0]);
        part.suppressed.iter_mut().for_each(|suppressed| suppressed.document = 0);
        part.findings.iter_mut().for_each(|finding| finding.document = 0);
        part
    }

    /// Reads a report that was written as one JSON object.
    ///
    /// # Errors
    /// When the source is no report, or one of another version than this one understands.
    pub fn read(source: &[u8]) -> Result<Self, serde_json::Error> {
        use serde::de::Error;
        let source = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
        let report: Self = serde_json::from_slice(source)?;
        if report.report != VERSION {
            let other = &report.report;
            return Err(serde_json::Error::custom(format!("a report of version {other:?}; this is {VERSION}")));
        }
        let documents = report.documents.len();
        if let Some(finding) = report.findings.iter().find(|finding| finding.document >= documents) {
            let place = finding.document;
            return Err(serde_json::Error::custom(format!("a finding is about document {place} of {documents}")));
        }
        Ok(report)
    }

    /// Names the file that the report is about.
    pub fn name_file(&mut self, file: &str) {
        for document in &mut self.documents {
            document.file.get_or_insert_with(|| file.to_owned());
        }
    }

    /// Names the form that the document was read in.
    pub fn name_form(&mut self, form: &str) {
        for document in &mut self.documents {
            document.form.get_or_insert_with(|| form.to_owned());
        }
    }

    /// A report that says only that a file could not be read.
    #[must_use]
    pub fn unread(file: &str, error: &str) -> Self {
        let document = Document { file: Some(file.to_owned()), error: Some(error.to_owned()), ..Document::default() };
        Self::new(document, &Settings::default(), None)
    }

    /// The schema of a report.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        let example = crate::report::example::report().and_then(|report| serde_json::to_value(report).ok());
        let title = "Report of a check of obvert survey documents";
        obvert_model::schema::of::<Self>("report", title, example.into_iter().collect())
    }

    /// Fills in the places of all findings in a JSON source, in one scan of it.
    pub fn place_in(&mut self, source: &[u8], file: &str) {
        let places = locate_all(source, self.findings.iter().map(|finding| finding.path.as_str()));
        for finding in &mut self.findings {
            let place = places.get(&finding.path);
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

    /// Fills in the places that are not known yet by a function of the finding.
    pub fn place_each(&mut self, mut place: impl FnMut(&Finding) -> Option<Location>) {
        for finding in self.findings.iter_mut().filter(|finding| finding.at.is_none()) {
            finding.at = place(finding);
        }
    }

    /// Fills in the places of all findings by a function, for a document that was read from another form.
    pub fn place_with(&mut self, mut place: impl FnMut(&str) -> Option<Location>) {
        for finding in &mut self.findings {
            finding.at = place(&finding.path);
        }
    }
}

/// Adds what could not be run on other documents, whose numbers begin at `before`.
fn join_not_run(all: &mut Vec<NotRun>, others: Vec<NotRun>, before: usize) {
    for mut theirs in others {
        theirs.documents.iter_mut().for_each(|document| *document += before);
        match all.iter_mut().find(|ours| ours.why == theirs.why && ours.rules == theirs.rules) {
            Some(ours) => ours.documents.extend(theirs.documents),
            None => all.push(theirs),
        }
    }
}

fn sort_rules(rules: &mut [RuleTotal]) {
    rules.sort_by(|a, b| (b.severity, &a.rule).cmp(&(a.severity, &b.rule)));
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
        message: problem.text(),
        path: problem.pointer.clone(),
        document: 0,
        at: None,
        record: None,
        pipe: None,
        run: None,
        observation: None,
        distance: None,
        params: BTreeMap::new(),
        help: Some(match &problem.suggestion {
            Some(near) => format!("did you mean {near:?}?"),
            None if problem.kind == ProblemKind::UnknownWord && problem.pointer == "/obvert" => {
                "Take a newer reader, or ask for the survey in a version that this one knows; nothing else of it is judged.".to_owned()
            }
            None if problem.message.starts_with("expected a list") => {
                "A list stands between square brackets, its items separated by commas.".to_owned()
            }
            None if problem.message.starts_with("expected an object") => {
                "An object stands between braces: a key between quotation marks, a colon, its value.".to_owned()
            }
            None => ProblemKind::meaning(problem.kind).to_owned(),
        }),
        fix: problem.fix.clone().map(Box::new),
    }
}
