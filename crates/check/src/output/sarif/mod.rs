//! SARIF 2.1.0 (OASIS Static Analysis Results Interchange Format), which code hosts and editors
//! read.
//!
//! One run contains all documents. Its rules are those that were run or have findings. The
//! notifications of the invocation state what could not be run, is not listed or could not be read.
//! A finding keeps its fingerprint if rows are inserted before it.
//!
//! ```
//! use obvert_check::{Checker, MINIMAL, Settings, output};
//!
//! let report = Checker::new(Settings::default())?.check(MINIMAL.as_bytes())?;
//! let mut sarif = Vec::new();
//! output::sarif::write(&report, &mut sarif)?;
//! let log: serde_json::Value = serde_json::from_slice(&sarif)?;
//! assert_eq!(log["version"], "2.1.0");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod parts;
mod uri;

use std::collections::BTreeMap;
use std::io::{self, Write};

use serde::Serialize;
use serde_json::{Map, Value, json};
use sha2::{Digest as _, Sha256};

use self::parts::{artifact_location, logical_locations, rule_object};
use super::{Named, character_column, name_of, thousands, unlisted};
use crate::finding::{Finding, Severity};
use crate::report::fingerprint::fingerprint;
use crate::report::{NotRun, Report};

/// The location of the format's schema.
const SCHEMA: &str =
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json";

/// Writes a report as SARIF.
///
/// # Errors
/// If the sink fails.
pub fn write(report: &Report, sink: &mut dyn Write) -> io::Result<()> {
    let index = Index::new(report);
    let log = Log { schema: SCHEMA, version: "2.1.0", runs: [index.run()] };
    serde_json::to_writer_pretty(&mut *sink, &log)?;
    sink.write_all(b"\n")
}

#[derive(Serialize)]
struct Log<'r> {
    #[serde(rename = "$schema")]
    schema: &'static str,
    version: &'static str,
    runs: [Run<'r>; 1],
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Run<'r> {
    tool: Value,
    language: &'static str,
    column_kind: &'static str,
    invocations: [Value; 1],
    #[serde(skip_serializing_if = "Vec::is_empty")]
    artifacts: Vec<Value>,
    results: Results<'r>,
    properties: Value,
}

/// The results, made one at a time while they are written.
struct Results<'r>(&'r Index<'r>);

impl Serialize for Results<'_> {
    fn serialize<S: serde::Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
        let mut seen: BTreeMap<String, usize> = BTreeMap::new();
        sink.collect_seq(self.0.report.findings.iter().map(|finding| {
            let identity = fingerprint(finding);
            let count = seen.entry(identity.clone()).or_default();
            *count += 1;
            self.0.result(finding, &identity, *count)
        }))
    }
}

/// The rules and files, which results refer to by number.
struct Index<'r> {
    report: &'r Report,
    /// The names of all rules, and what each name refers to.
    rules: Vec<(&'r str, Option<Named<'r>>)>,
    rule_index: BTreeMap<&'r str, usize>,
    /// Files by name, with the number of the zip that a file is in.
    files: Vec<(String, Option<usize>)>,
    file_index: BTreeMap<String, usize>,
}

impl<'r> Index<'r> {
    fn new(report: &'r Report) -> Self {
        let ran = |named: &Named<'_>| {
            let name = named.name();
            (0..report.documents.len()).any(|document| report.ran(name, document))
                || report.rules.iter().any(|total| total.rule == name)
                || report
                    .not_run
                    .iter()
                    .chain(&report.not_applicable)
                    .any(|not_run| not_run.rules.iter().any(|rule| rule == name))
        };
        let mut rules: Vec<(&str, Option<Named<'r>>)> =
            Named::all(report).filter(ran).map(|named| (named.name(), Some(named))).collect();
        for total in &report.rules {
            if Named::find(report, &total.rule).is_none() {
                rules.push((&total.rule, None));
            }
        }
        let mut index = Self {
            rule_index: rules.iter().enumerate().map(|(index, (name, _))| (*name, index)).collect(),
            report,
            rules,
            files: Vec::new(),
            file_index: BTreeMap::new(),
        };
        for document in &report.documents {
            if let Some(file) = &document.info.file {
                index.file(file, None);
            }
        }
        for finding in &report.findings {
            if let Some(at) = &finding.at {
                let document = report.documents.get(finding.document);
                let zip = document
                    // Tables in a folder are files themselves.
                    .filter(|document| {
                        document.format.as_deref().is_some_and(|format| format != "csv")
                    })
                    .and_then(|document| document.info.file.as_ref())
                    .filter(|zip| {
                        at.file.strip_prefix(zip.as_str()).is_some_and(|rest| rest.starts_with('/'))
                    })
                    .and_then(|zip| index.file_index.get(zip).copied());
                index.file(&at.file, zip);
            }
        }
        index
    }

    fn file(&mut self, file: &str, parent: Option<usize>) {
        if !self.file_index.contains_key(file) {
            self.file_index.insert(file.to_owned(), self.files.len());
            self.files.push((file.to_owned(), parent));
        }
    }

    fn run(&'r self) -> Run<'r> {
        let report = self.report;
        let rules: Vec<Value> =
            self.rules.iter().map(|(name, named)| rule_object(report, name, *named)).collect();
        let notifications = [
            ("rule-not-run", "A rule could not be run on a document."),
            ("findings-not-listed", "A rule found more than is listed; totals are exact."),
            ("document-not-read", "A document could not be read."),
            ("compared-with-earlier-report", "Findings of an earlier report are left out."),
            (
                "part-not-read",
                "A part of a document could not be read; the rules ran over the rest.",
            ),
            (
                "rule-not-applicable",
                "A rule did not apply: the document does not name, and no profile demands, what it compares it with.",
            ),
        ];
        let notifications: Vec<Value> = notifications
            .into_iter()
            .map(|(id, text)| json!({ "id": id, "shortDescription": { "text": text } }))
            .collect();
        let mut properties = Map::new();
        properties.insert("totals".into(), json!(report.totals));
        if let Some(today) = &report.today {
            properties.insert("today".into(), json!(today));
        }
        if let Some(profile) = &report.profile {
            properties.insert("profile".into(), json!(profile));
        }
        if !report.suppressed.is_empty() {
            properties.insert("suppressed".into(), json!(report.suppressed));
        }
        if !report.settings.is_empty() {
            properties.insert("settings".into(), json!(report.settings));
        }
        if let Some(baseline) = &report.baseline {
            properties.insert("baseline".into(), json!(baseline));
        }
        Run {
            tool: json!({ "driver": {
                "name": report.tool.name,
                "semanticVersion": report.tool.version,
                "notifications": notifications,
                "rules": rules,
            } }),
            language: "en",
            column_kind: "unicodeCodePoints",
            invocations: [json!({
                "executionSuccessful": report.documents.iter().all(|document| document.info.error.is_none()),
                "toolExecutionNotifications": self.notifications(),
            })],
            artifacts: self.artifacts(),
            results: Results(self),
            properties: Value::Object(properties),
        }
    }

    fn notifications(&self) -> Vec<Value> {
        let report = self.report;
        let mut list = Vec::new();
        for (index, document) in report.documents.iter().enumerate() {
            if let Some(error) = &document.info.error {
                list.push(json!({
                    "descriptor": { "id": "document-not-read", "index": 2 },
                    "level": "error",
                    "message": { "text": error },
                    "locations": self.locations(&[index]),
                }));
            }
        }
        for not_run in &report.not_run {
            self.rules_not_run(&mut list, not_run, ("rule-not-run", 0), "warning", "was not run");
        }
        for (index, document) in report.documents.iter().enumerate() {
            if let Some(incomplete) = document.incomplete() {
                let paths: Vec<&str> =
                    document.left_out.iter().map(|out| out.path.as_str()).collect();
                list.push(json!({
                    "descriptor": { "id": "part-not-read", "index": 4 },
                    "level": "warning",
                    "message": { "text": incomplete },
                    "locations": self.locations(&[index]),
                    "properties": { "leftOut": paths, "withheld": document.withheld },
                }));
            }
        }
        for not_run in &report.not_applicable {
            let id = ("rule-not-applicable", 5);
            self.rules_not_run(&mut list, not_run, id, "note", "did not apply");
        }
        for (rule, listed, total) in unlisted(&report.rules) {
            let (shown, all) = (thousands(listed), thousands(total));
            list.push(json!({
                "descriptor": { "id": "findings-not-listed", "index": 1 },
                "associatedRule": self.reference(rule),
                "level": "warning",
                "message": { "text": format!("{rule}: {shown} of {all} findings are listed") },
                "properties": { "listed": listed, "total": total },
            }));
        }
        if let Some(baseline) = &report.baseline {
            let message = format!(
                "compared with an earlier report: {} findings already known, {} resolved",
                thousands(baseline.known),
                thousands(baseline.resolved)
            );
            list.push(json!({
                "descriptor": { "id": "compared-with-earlier-report", "index": 3 },
                "level": "note",
                "message": { "text": message },
            }));
        }
        list
    }

    /// Adds a notification for each rule that was not run or did not apply.
    fn rules_not_run(
        &self,
        list: &mut Vec<Value>,
        not_run: &NotRun,
        (id, index): (&str, usize),
        level: &str,
        outcome: &str,
    ) {
        list.extend(not_run.rules.iter().map(|rule| {
            json!({
                "descriptor": { "id": id, "index": index },
                "associatedRule": self.reference(rule),
                "level": level,
                "message": { "text": format!("{rule} {outcome}: {}", not_run.why) },
                "locations": self.locations(&not_run.documents),
            })
        }));
    }

    /// The files of documents, as locations.
    fn locations(&self, documents: &[usize]) -> Vec<Value> {
        let infos =
            documents.iter().filter_map(|index| Some(&self.report.documents.get(*index)?.info));
        infos
            .filter_map(|info| info.file.as_ref())
            .map(|file| json!({ "physicalLocation": { "artifactLocation": self.location(file) } }))
            .collect()
    }

    fn reference(&self, rule: &str) -> Value {
        match self.rule_index.get(rule) {
            Some(index) => json!({ "id": rule, "index": index }),
            None => json!({ "id": rule }),
        }
    }

    fn artifacts(&self) -> Vec<Value> {
        let files = self.files.iter().map(|(file, parent)| {
            let mut artifact = json!({ "location": artifact_location(file, self.within(*parent)) });
            if let Some(parent) = parent {
                artifact["parentIndex"] = json!(parent);
            }
            let document = self
                .report
                .documents
                .iter()
                .find(|document| document.info.file.as_ref() == Some(file));
            if let Some(document) = document {
                artifact["roles"] = json!(["analysisTarget"]);
                let mut properties = Map::new();
                if let Some(id) = &document.info.id {
                    properties.insert("document".into(), json!(id));
                }
                for (name, number) in [
                    ("pipes", document.pipes),
                    ("runs", document.runs),
                    ("observations", document.observations),
                ] {
                    properties.insert(name.into(), json!(number));
                }
                properties.insert("totals".into(), json!(document.totals));
                artifact["properties"] = Value::Object(properties);
            }
            artifact
        });
        files.collect()
    }

    fn within(&self, parent: Option<usize>) -> Option<&str> {
        parent.and_then(|parent| self.files.get(parent)).map(|(file, _)| file.as_str())
    }

    fn location(&self, file: &str) -> Value {
        let Some(index) = self.file_index.get(file) else { return artifact_location(file, None) };
        let mut location = artifact_location(file, self.within(self.files[*index].1));
        location["index"] = json!(index);
        location
    }

    fn result(&self, finding: &Finding, identity: &str, count: usize) -> Value {
        let report = self.report;
        let document = report.documents.get(finding.document);
        let mut location = Map::new();
        let mut properties = Map::new();
        properties.insert("path".into(), json!(finding.subject.path));
        match (&finding.at, document.and_then(|document| document.info.file.as_ref())) {
            (Some(at), _) => {
                let mut region = json!({ "startLine": at.line });
                if let Some(column) = character_column(at) {
                    region["startColumn"] = json!(column);
                }
                let place =
                    json!({ "artifactLocation": self.location(&at.file), "region": region });
                location.insert("physicalLocation".into(), place);
                if let (Some(heading), Some(column)) = (&at.heading, at.column) {
                    properties.insert("csvColumn".into(), json!(column));
                    properties.insert("csvHeading".into(), json!(heading));
                }
            }
            (None, Some(file)) => {
                location.insert(
                    "physicalLocation".into(),
                    json!({ "artifactLocation": self.location(file) }),
                );
            }
            (None, None) => {}
        }
        let logical = logical_locations(finding, document.map_or("", name_of));
        if !logical.is_empty() {
            location.insert("logicalLocations".into(), Value::Array(logical));
        }
        if let Some(distance) = finding.subject.distance {
            properties.insert("distance".into(), json!(distance));
            if let Some(unit) = document.and_then(|document| document.info.length_unit.as_ref()) {
                properties.insert("unit".into(), json!(unit));
            }
        }
        if !finding.params.is_empty() {
            properties.insert("params".into(), json!(finding.params));
        }
        if let Some(help) = &finding.help {
            properties.insert("help".into(), json!(help));
        }
        // The `fixes` of SARIF replace regions of a text, which a report does not contain.
        if let Some(fix) = &finding.fix {
            properties.insert("fix".into(), json!(fix));
        }
        let mut result = Map::new();
        result.insert("ruleId".into(), json!(finding.rule));
        if let Some(index) = self.rule_index.get(&*finding.rule) {
            result.insert("ruleIndex".into(), json!(index));
        }
        result.insert("level".into(), json!(level(finding.severity)));
        result.insert("message".into(), json!({ "text": message(finding) }));
        result.insert("locations".into(), json!([location]));
        result.insert(
            "partialFingerprints".into(),
            json!({ "obvertFinding/v1": digest(identity, count) }),
        );
        if report.baseline.is_some() {
            result.insert("baselineState".into(), json!("new"));
        }
        result.insert("properties".into(), Value::Object(properties));
        Value::Object(result)
    }
}

/// The message, and the advice for this case. Braces mark placeholders (3.11.5), so they are
/// doubled. Brackets before parentheses mark a link (3.11.6), so they are escaped.
fn message(finding: &Finding) -> String {
    let text = match &finding.help {
        Some(help) => format!("{}; {help}", finding.message),
        None => finding.message.clone(),
    };
    let text = text.replace('{', "{{").replace('}', "}}");
    if text.contains("](") { text.replace('[', "\\[").replace(']', "\\]") } else { text }
}

pub(super) const fn level(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
        Severity::Note => "note",
    }
}

/// A digest of a finding's fingerprint, with its number among the findings that have the same one.
fn digest(identity: &str, count: usize) -> String {
    let hash = Sha256::digest(format!("{identity}\n#{count}"));
    hash.iter().take(16).map(|byte| format!("{byte:02x}")).collect()
}
