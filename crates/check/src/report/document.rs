//! The part of a report about one document.

#[cfg(feature = "diagnose")]
use obvert_model::read::ProblemKind;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::AffectedPipe;
#[cfg(feature = "diagnose")]
use crate::evidence::{OBSERVATIONS, is_document_table};
use crate::finding::Severity;
use crate::output::count;
use crate::views::Survey;

/// Which document was checked or fixed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct DocumentInfo {
    /// The file; absent if it was not named.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub file: Option<String>,
    /// The document's id.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub id: Option<String>,
    /// The unit of its distances.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub length_unit: Option<String>,
    /// Why it could not be read, if so.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub error: Option<String>,
}

impl DocumentInfo {
    /// A file that could not be read.
    pub(crate) fn failed(file: &str, error: &str) -> Self {
        Self { file: Some(file.to_owned()), error: Some(error.to_owned()), ..Self::default() }
    }

    /// The name of the document, for people.
    pub(crate) fn name(&self) -> &str {
        self.file.as_deref().or(self.id.as_deref()).unwrap_or("the document")
    }
}

/// A document that was checked.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct CheckedDocument {
    /// Which document it is.
    #[serde(flatten)]
    pub info: DocumentInfo,
    /// The format that was read, if the reader names it: `json`, `xml`, `csv`, `csv-zip`,
    /// `geojson`, `xlsx`, `geopackage`.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub format: Option<String>,
    /// How many pipes it has.
    pub pipes: usize,
    /// How many runs it has.
    pub runs: usize,
    /// How many observations it has.
    pub observations: usize,
    /// Its media files in the folder, if somebody looked for them.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub files: Option<OpenedFiles>,
    /// What could not be read and was left out; the rules ran over the rest.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub left_out: Vec<LeftOut>,
    /// How many findings were withheld because what was left out may be their only cause.
    #[serde(skip_serializing_if = "is_zero", default)]
    pub withheld: usize,
    /// Its findings by severity, exact whether listed or not.
    #[serde(default)]
    pub totals: Totals,
    /// Its findings by rule, exact whether listed or not.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub rules: Vec<RuleTotal>,
    /// The pipes that have listed findings, in the order of their table. They have what is needed to
    /// draw each finding at its distance without the document.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub affected_pipes: Vec<AffectedPipe>,
}

/// The media files of a document, as they were found in its folder.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct OpenedFiles {
    /// How many files of its rows were opened.
    pub opened: usize,
    /// How many files of its rows were not found. Rows with the state `lost` do not count.
    pub missing: usize,
    /// Why no file was opened, if so.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub not_opened: Option<String>,
}

impl OpenedFiles {
    /// Whether files were opened, and how many, as a text.
    #[must_use]
    pub fn describe(&self) -> String {
        let opened = count(self.opened, "media file");
        match (&self.not_opened, self.missing) {
            (Some(why), _) => format!("media files were not opened: {why}"),
            (None, 0) => format!("{opened} opened, none missing"),
            (None, missing) => format!("{opened} opened, {missing} missing"),
        }
    }

    /// The files that a check opened; `None` if it was not asked to open any, or if the survey names
    /// none.
    pub(crate) fn of(survey: &Survey<'_>) -> Option<Self> {
        let media = &survey.head.media;
        match (&survey.files, &survey.files_closed) {
            (Some(files), _) if !media.is_empty() => {
                let (opened, missing) = files.count(media);
                Some(Self { opened, missing, not_opened: None })
            }
            (_, Some(why)) => Some(Self { not_opened: Some(why.clone()), ..Self::default() }),
            _ => None,
        }
    }
}

/// Findings by severity.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Totals {
    /// Errors.
    pub error: usize,
    /// Warnings.
    pub warning: usize,
    /// Notes.
    pub note: usize,
}

impl Totals {
    /// The number of findings of a severity.
    #[must_use]
    pub const fn of(&self, severity: Severity) -> usize {
        match severity {
            Severity::Error => self.error,
            Severity::Warning => self.warning,
            Severity::Note => self.note,
        }
    }

    /// The number of findings of any severity.
    #[must_use]
    pub const fn all(&self) -> usize {
        self.error + self.warning + self.note
    }

    pub(super) fn over(rules: &[RuleTotal]) -> Self {
        let mut totals = Self::default();
        for rule in rules {
            totals.add(rule.severity, rule.total);
        }
        totals
    }

    pub(crate) fn add(&mut self, severity: Severity, count: usize) {
        match severity {
            Severity::Error => self.error += count,
            Severity::Warning => self.warning += count,
            Severity::Note => self.note += count,
        }
    }
}

impl CheckedDocument {
    /// A file that could not be read.
    pub(crate) fn unread(file: &str, error: &str) -> Self {
        Self { info: DocumentInfo::failed(file, error), ..Self::default() }
    }

    /// What was left out of the check, as a sentence without a full stop; `None` if nothing was.
    #[must_use]
    pub fn incomplete(&self) -> Option<String> {
        // `-` is an unknown row: /runs/-/observations is a table of one of the runs.
        let is_table = |path: &str| {
            path.matches('/').count() == 1 || path.contains("/-/") && !path.ends_with("/-")
        };
        let tables = self.left_out.iter().filter(|out| out.row && is_table(&out.path)).count();
        let rows = self.left_out.iter().filter(|out| out.row).count() - tables;
        let some = |number: usize, word: &str| (number > 0).then(|| count(number, word));
        let values = self.left_out.len() - rows - tables;
        let parts = [some(tables, "table"), some(rows, "row"), some(values, "value")];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        if parts.is_empty() {
            return None;
        }
        let (parts, were) =
            (parts.join(" and "), if self.left_out.len() == 1 { "was" } else { "were" });
        let withheld = match self.withheld {
            0 => String::new(),
            1 => "; 1 finding was withheld, since this alone may be its cause".to_owned(),
            several => {
                format!("; {several} findings were withheld, since this alone may be their cause")
            }
        };
        Some(format!(
            "{parts} that could not be read {were} left out; the rules ran over the rest{withheld}"
        ))
    }

    pub(crate) fn recount(&mut self) {
        self.totals = Totals::over(&self.rules);
    }
}

/// The signature is the one that serde needs.
#[allow(clippy::trivially_copy_pass_by_ref)]
fn is_zero(count: &usize) -> bool {
    *count == 0
}

/// Something that could not be read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct LeftOut {
    /// Its location, as a JSON Pointer (RFC 6901) into the document.
    pub path: String,
    /// Whether it is a row of a table, or a table; otherwise it is an optional value, or a key that
    /// the format does not have.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub row: bool,
}

#[cfg(feature = "diagnose")]
impl LeftOut {
    pub(crate) fn new(out: &obvert_model::read::LeftOut) -> Self {
        let last = out.pointer.rsplit('/').next().unwrap_or_default();
        let table =
            last == OBSERVATIONS || out.pointer.strip_prefix('/').is_some_and(is_document_table);
        let row = out.kind == ProblemKind::OrphanRow || last.parse::<usize>().is_ok() || table;
        Self { path: out.pointer.clone(), row }
    }
}

/// How many findings a rule has.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct RuleTotal {
    /// The rule.
    pub rule: String,
    /// Its severity in this check.
    pub severity: Severity,
    /// How many findings there are.
    pub total: usize,
    /// How many of them are listed in `findings`.
    pub listed: usize,
}
