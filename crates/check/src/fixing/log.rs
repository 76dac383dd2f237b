//! A log of the fixes that were applied and of those that were skipped, for the person who is
//! responsible and for software.

use obvert_model::Location;
use obvert_model::edit::Edit;
use obvert_model::read::locate_all;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::Candidate;
use crate::finding::Severity;
use crate::report::{DocumentInfo, Report, Tool, Totals};
use crate::subject::Subject;

/// The version of the log's format.
const VERSION: &str = "0.2";

/// The log of fixing documents.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct FixLog {
    /// The version of the log's format.
    pub fix_log: String,
    /// The program that made it.
    pub tool: Tool,
    /// The date that was used as today, if one was given.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub today: Option<String>,
    /// The documents, in the given order.
    pub documents: Vec<FixedDocument>,
}

impl FixLog {
    /// A log of documents.
    #[must_use]
    pub fn new(today: Option<String>, documents: Vec<FixedDocument>) -> Self {
        Self { fix_log: VERSION.into(), tool: Tool::this(), today, documents }
    }

    /// The schema of a log.
    #[must_use]
    pub fn schema() -> Value {
        let example =
            crate::report::example::fix_log().and_then(|log| serde_json::to_value(log).ok());
        let title = "Log of the fixes to obvert survey documents";
        obvert_model::schema::of::<Self>("fix-log", title, example.into_iter().collect())
    }
}

/// The fixes of one document.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct FixedDocument {
    /// Which document it is.
    #[serde(flatten)]
    pub info: DocumentInfo,
    /// The file that the fixed document was written to; absent if it was not written.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub written: Option<String>,
    /// Its findings before, by severity.
    pub before: Totals,
    /// Its findings after, by severity.
    pub after: Totals,
    /// How many of the findings after have a fix.
    pub fixable: Fixable,
    /// The fixes that were applied, in order.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub applied: Vec<AppliedFix>,
    /// The fixes that were not applied, and why.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub skipped: Vec<SkippedFix>,
    /// Media files that were not found, so that their rows were not completed.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub media_missing: Vec<String>,
}

/// How many of the findings have a fix.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Fixable {
    /// With a safe fix.
    pub safe: usize,
    /// With a fix that a person must confirm.
    pub to_confirm: usize,
}

impl Fixable {
    fn of(report: &Report) -> Self {
        let fixes = || report.findings.iter().filter_map(|finding| finding.fix.as_ref());
        let safe = fixes().filter(|fix| fix.safe).count();
        Self { safe, to_confirm: fixes().count() - safe }
    }
}

/// A fix that was applied.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct AppliedFix {
    /// The rule or the kind of structural problem that it fixes; `media-file` for a fact read from
    /// a media file.
    pub rule: String,
    /// The severity of the finding; absent for a media file.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub severity: Option<Severity>,
    /// Whether it leaves the meaning of the document as it is. If not, the person who had it
    /// applied confirmed `does`.
    pub safe: bool,
    /// What it does, or what was confirmed by applying it.
    pub does: String,
    /// The message of the finding.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub message: Option<String>,
    /// What it is about, in the document as it was before the fix.
    #[serde(flatten)]
    pub subject: Subject,
    /// The location in the original file; absent for findings that appeared only after other
    /// fixes.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub at: Option<Location>,
    /// Its edits.
    pub changes: Vec<AppliedEdit>,
}

/// An edit, and the value before it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct AppliedEdit {
    /// The edit.
    pub edit: Edit,
    /// The value that was replaced or removed.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub before: Option<Value>,
}

/// A fix that was not applied.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct SkippedFix {
    /// The rule, the kind of structural problem, or `media-file`.
    pub rule: String,
    /// What the fix would do.
    pub does: String,
    /// Why it was not applied.
    pub why: String,
    /// What it is about.
    #[serde(flatten)]
    pub subject: Subject,
}

impl SkippedFix {
    pub(super) fn new(candidate: Candidate, why: String) -> Self {
        Self { rule: candidate.rule, does: candidate.fix.does, why, subject: candidate.subject }
    }
}

impl FixedDocument {
    pub(super) fn before(report: &Report) -> Self {
        Self { before: report.totals, ..Self::default() }
    }

    /// The log of a file that could not be read or fixed.
    #[must_use]
    pub fn failed(file: &str, error: &str) -> Self {
        Self { info: DocumentInfo::failed(file, error), ..Self::default() }
    }

    /// Sets the name of the file.
    pub fn name_file(&mut self, file: &str) {
        self.info.file = Some(file.to_owned());
        for at in self.applied.iter_mut().filter_map(|applied| applied.at.as_mut()) {
            file.clone_into(&mut at.file);
        }
    }

    pub(super) fn after(&mut self, report: &Report) {
        self.after = report.totals;
        self.fixable = Fixable::of(report);
        if let Some(document) = report.documents.first() {
            self.info = document.info.clone();
        }
    }

    /// Adds fixes that were applied together to a text.
    pub(super) fn log(&mut self, batch: &[Candidate], text: &str) {
        let original = self.applied.is_empty();
        let edited =
            batch.iter().flat_map(|candidate| candidate.fix.edits.iter().filter_map(replaced));
        let subjects = batch.iter().map(|candidate| candidate.subject.path.as_str());
        let locations = locate_all(text.as_bytes(), edited.chain(subjects));
        for candidate in batch {
            let changes = candidate.fix.edits.iter().map(|edit| {
                let before = replaced(edit).map(|pointer| locations.get(pointer));
                let before = before.and_then(|place| text.get(place.offset..place.end));
                AppliedEdit {
                    edit: edit.clone(),
                    before: before.and_then(|value| serde_json::from_str(value).ok()),
                }
            });
            let place = Some(locations.get(&candidate.subject.path))
                .filter(|place| original && place.line > 0);
            self.applied.push(AppliedFix {
                rule: candidate.rule.clone(),
                severity: candidate.severity,
                safe: candidate.fix.safe,
                does: candidate.fix.does.clone(),
                message: candidate.message.clone(),
                subject: candidate.subject.clone(),
                at: place.map(|place| Location {
                    line: place.line,
                    column: Some(place.column),
                    ..Location::default()
                }),
                changes: changes.collect(),
            });
        }
    }
}

/// The pointer of the value that an edit replaces or removes.
fn replaced(edit: &Edit) -> Option<&str> {
    match edit {
        Edit::Replace { path, .. } | Edit::Remove { path } => Some(path),
        _ => None,
    }
}
