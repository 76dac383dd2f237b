//! A log of what was fixed and what was not, for the person who is responsible and for software.

use obvert_model::Location;
use obvert_model::edit::Edit;
use obvert_model::read::locate_all;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::Candidate;
use crate::finding::Severity;
use crate::report::{Report, Tool, Totals};
use crate::subject::Subject;

/// The version of the log's form.
const VERSION: &str = "0.1";

/// What was done to documents.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mending {
    /// The version of the log's form.
    pub mending: String,
    /// The program that made it.
    pub tool: Tool,
    /// The date that was used as today, if one was given.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub today: Option<String>,
    /// The documents, in the given order.
    pub documents: Vec<MendedDocument>,
}

impl Mending {
    /// A log of documents.
    #[must_use]
    pub fn new(today: Option<String>, documents: Vec<MendedDocument>) -> Self {
        let tool = Tool { name: "obvert".into(), version: env!("CARGO_PKG_VERSION").into() };
        Self { mending: VERSION.into(), tool, today, documents }
    }

    /// The schema of a log.
    #[must_use]
    pub fn schema() -> Value {
        let example =
            crate::report::example::mending().and_then(|log| serde_json::to_value(log).ok());
        let title = "Log of what was mended in obvert survey documents";
        obvert_model::schema::of::<Self>("mending", title, example.into_iter().collect())
    }
}

/// What was done to one document.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MendedDocument {
    /// The file; absent if it was not named.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub file: Option<String>,
    /// The file that the fixed document was written to; absent if it was not written.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub written: Option<String>,
    /// The document's id.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub id: Option<String>,
    /// The unit of every distance in the log.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub length_unit: Option<String>,
    /// Why nothing could be done, if so.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub error: Option<String>,
    /// Its findings before, by severity.
    pub before: Totals,
    /// Its findings after, by severity.
    pub after: Totals,
    /// How many of the findings after have a fix.
    pub reach: Reach,
    /// The fixes that were applied, in order.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub applied: Vec<Applied>,
    /// What was not done, and why.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub left: Vec<Left>,
    /// Media files that were not found, so that nothing is known about them.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub media_missing: Vec<String>,
}

/// How many of the findings have a fix.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Reach {
    /// One that is safe.
    pub safe: usize,
    /// One that somebody must confirm.
    pub to_confirm: usize,
}

impl Reach {
    /// How many of the findings of a report have a fix.
    #[must_use]
    pub fn of(report: &Report) -> Self {
        let mut reach = Self::default();
        for fix in report.findings.iter().filter_map(|finding| finding.fix.as_ref()) {
            *(if fix.safe { &mut reach.safe } else { &mut reach.to_confirm }) += 1;
        }
        reach
    }
}

/// A fix that was applied.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Applied {
    /// The rule or the kind of structural problem that it fixes; `media-file` for what a media file
    /// shows.
    pub rule: String,
    /// The severity of the finding; absent for a media file.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub severity: Option<Severity>,
    /// Whether it changes nothing that anybody meant; otherwise `does` was confirmed by the person
    /// who had it applied.
    pub safe: bool,
    /// What it does, or what was confirmed by applying it.
    pub does: String,
    /// What was found.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub message: Option<String>,
    /// What it is about, in the document as it was then.
    #[serde(flatten)]
    pub subject: Subject,
    /// The location in the file as it was given; absent for findings that appeared only after other
    /// fixes.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub at: Option<Location>,
    /// What was changed.
    pub changes: Vec<Change>,
}

/// An edit, and the value before it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Change {
    /// The edit.
    pub edit: Edit,
    /// The value that was replaced or removed.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub before: Option<Value>,
}

/// A fix that was not applied.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Left {
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

impl Left {
    pub(super) fn new(candidate: &Candidate, why: String) -> Self {
        Self {
            rule: candidate.rule.clone(),
            does: candidate.fix.does.clone(),
            why,
            subject: candidate.subject.clone(),
        }
    }
}

impl MendedDocument {
    pub(super) fn before(report: &Report) -> Self {
        Self { before: report.totals, ..Self::default() }
    }

    /// A log of a file to which nothing could be done.
    #[must_use]
    pub fn failed(file: &str, error: &str) -> Self {
        Self { file: Some(file.to_owned()), error: Some(error.to_owned()), ..Self::default() }
    }

    /// Sets the name of the file.
    pub fn name_file(&mut self, file: &str) {
        self.file = Some(file.to_owned());
        for at in self.applied.iter_mut().filter_map(|applied| applied.at.as_mut()) {
            file.clone_into(&mut at.file);
        }
    }

    pub(super) fn after(&mut self, report: &Report) {
        self.after = report.totals;
        self.reach = Reach::of(report);
        if let Some(document) = report.documents.first() {
            (self.id, self.length_unit) = (document.id.clone(), document.length_unit.clone());
        }
    }

    /// Adds fixes that were applied together to a text.
    pub(super) fn log(&mut self, batch: &[Candidate], text: &str) {
        let original = self.applied.is_empty();
        let sources =
            batch.iter().flat_map(|candidate| candidate.fix.edits.iter().filter_map(replaced));
        let places = locate_all(
            text.as_bytes(),
            sources.chain(batch.iter().map(|candidate| candidate.subject.path.as_str())),
        );
        for candidate in batch {
            let changes = candidate.fix.edits.iter().map(|edit| {
                let place = replaced(edit).map(|pointer| places.get(pointer));
                let stood = place.and_then(|place| text.get(place.offset..place.end));
                Change {
                    edit: edit.clone(),
                    before: stood.and_then(|stood| serde_json::from_str(stood).ok()),
                }
            });
            let place = Some(places.get(&candidate.subject.path))
                .filter(|place| original && place.line > 0);
            self.applied.push(Applied {
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
