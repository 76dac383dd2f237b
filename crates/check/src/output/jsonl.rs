//! JSON lines, for pipelines that read one finding at a time.
//!
//! The first line states the program and the settings. Then comes a line for each document, each
//! followed by a line for each of its findings, in the report's order. The last line has the totals
//! and shows that the file is complete. Every line is an object whose `line` is `report`,
//! `document`, `finding` or `end`.
//!
//! ```
//! use obvert_check::{Checker, MINIMAL, Settings, output};
//!
//! let report = Checker::new(Settings::default())?.check(MINIMAL.as_bytes())?;
//! let mut lines = Vec::new();
//! output::jsonl::write(&report, &mut lines)?;
//! assert_eq!(String::from_utf8(lines)?.lines().count(), 3);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! To write any number of reports without keeping them, call [`begin`] once, [`documents`] for each
//! report, and [`end`] with their [`Summary`].

use std::io::{self, Write};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::Summary;
use super::summary::by_document;
use crate::finding::Finding;
use crate::report::{
    ChangedSettings, CheckedDocument, NotRun, OwnRule, ProfileIdentity, Report, Suppressed, Tool,
};

/// A line. Read a line with `serde_json::from_str`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "line", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Line {
    /// The first line: the program and the settings.
    Report(Box<Head>),
    /// A document. The findings after it are of this document.
    Document(Box<Part>),
    /// A finding.
    Finding(Box<Finding>),
    /// The last line. If it is missing, the file is incomplete.
    End(Box<Summary>),
}

/// The first line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Head {
    /// The version of the report's format.
    pub report: String,
    /// The program that made it.
    pub tool: Tool,
    /// The date that was used as today, if one was given.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub today: Option<String>,
    /// The profile that the documents are checked against.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub profile: Option<ProfileIdentity>,
    /// The severities and limits that the settings and the profile change.
    #[serde(skip_serializing_if = "ChangedSettings::is_empty", default)]
    pub settings: ChangedSettings,
    /// Rules of your own, besides those of the catalogue.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub own_rules: Vec<OwnRule>,
}

/// The line of a document.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Part {
    /// Its number, from 0, by which findings name it.
    pub document: usize,
    /// What was checked.
    #[serde(flatten)]
    pub checked: CheckedDocument,
    /// Rules that could not be run, and why.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub not_run: Vec<NotRun>,
    /// Rules that did not apply.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub not_applicable: Vec<NotRun>,
    /// Findings that the profile suppresses.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub suppressed: Vec<Suppressed>,
}

/// Writes a report as JSON lines.
///
/// # Errors
/// If the sink fails.
pub fn write(report: &Report, sink: &mut dyn Write) -> io::Result<()> {
    begin(report, sink)?;
    documents(report, 0, sink)?;
    end(&Summary::of(report), sink)
}

/// Writes the first line.
///
/// # Errors
/// If the sink fails.
pub fn begin(report: &Report, sink: &mut dyn Write) -> io::Result<()> {
    let head = Head {
        report: report.report.clone(),
        tool: report.tool.clone(),
        today: report.today.clone(),
        profile: report.profile.clone(),
        settings: report.settings.clone(),
        own_rules: report.own_rules.clone(),
    };
    line(sink, "report", &head)
}

/// Writes the lines of a report's documents and their findings; `before` documents were written
/// already.
///
/// # Errors
/// If the sink fails.
pub fn documents(report: &Report, before: usize, sink: &mut dyn Write) -> io::Result<()> {
    for (index, own) in by_document(report).into_iter().enumerate() {
        let number = before + index;
        let numbered = |all: Vec<NotRun>| {
            all.into_iter().map(|part| NotRun { documents: vec![number], ..part }).collect()
        };
        let suppressed = own.suppressed.into_iter();
        let part = Part {
            document: number,
            checked: report.documents[index].clone(),
            not_run: numbered(own.not_run),
            not_applicable: numbered(own.not_applicable),
            suppressed: suppressed
                .map(|part| Suppressed { document: number, ..part.clone() })
                .collect(),
        };
        line(sink, "document", &part)?;
        for finding in own.findings {
            line(sink, "finding", &Finding { document: number, ..finding.clone() })?;
        }
    }
    Ok(())
}

/// Writes the last line.
///
/// # Errors
/// If the sink fails.
pub fn end(summary: &Summary, sink: &mut dyn Write) -> io::Result<()> {
    line(sink, "end", summary)
}

/// The schema of a line.
#[must_use]
pub fn schema() -> Value {
    let mut lines = Vec::new();
    if let Some(report) = crate::report::example::report() {
        // Writing to memory cannot fail.
        let _ = write(&report, &mut lines);
    }
    let examples =
        lines.split(|byte| *byte == b'\n').filter_map(|line| serde_json::from_slice(line).ok());
    obvert_model::schema::of::<Line>(
        "report-line",
        "A line of a report of a check in JSON lines",
        examples.collect(),
    )
}

fn line(sink: &mut dyn Write, kind: &str, value: &impl Serialize) -> io::Result<()> {
    let mut object = Map::new();
    object.insert("line".to_owned(), kind.into());
    if let Value::Object(fields) = serde_json::to_value(value)? {
        object.extend(fields);
    }
    serde_json::to_writer(&mut *sink, &object)?;
    sink.write_all(b"\n")
}
