//! A finding: one problem in one place of a document, reported by a rule.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt;

use obvert_model::Location;
use obvert_model::edit::{Edit, Fix};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::subject::Subject;

/// The severity of a finding.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing; no action needed.
    Note,
    /// Probably wrong, or so unusual that a receiving office will ask.
    Warning,
    /// Wrong: the record contradicts itself or the format.
    Error,
}

impl Severity {
    /// Every severity, from note to error.
    pub const ALL: [Self; 3] = [Self::Note, Self::Warning, Self::Error];

    /// The word in reports.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Warning => "warning",
            Self::Error => "error",
        }
    }
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// The signature is the one that serde needs.
#[allow(clippy::trivially_copy_pass_by_ref)]
fn is_first(document: &usize) -> bool {
    *document == 0
}

/// One problem in one place of a document.
#[doc(alias = "diagnostic")]
#[doc(alias = "issue")]
#[doc(alias = "violation")]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Finding {
    /// The name of the rule, or of the kind of structural problem.
    pub rule: Cow<'static, str>,
    /// Its severity.
    pub severity: Severity,
    /// What is wrong, in lower case without a full stop, numbers with their units. Not stable.
    pub message: String,
    /// What it is about: the row, and the pipe and run that it belongs to.
    #[serde(flatten)]
    pub subject: Subject,
    /// The document, by its index in the report's `documents`, from 0; the first one if absent.
    #[serde(skip_serializing_if = "is_first", default)]
    pub document: usize,
    /// The location in the source that was read.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub at: Option<Location>,
    /// The facts of the finding by name, for software that does not read messages. The
    /// specification lists the facts of each rule and their units.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub params: BTreeMap<String, Value>,
    /// What to do.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub help: Option<String>,
    /// How to fix it, if the document shows how: edits of the document as it was checked.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fix: Option<Box<Fix>>,
    /// The values that the fix is computed from, until the report is complete.
    #[serde(skip)]
    pub(crate) rests_on: Vec<String>,
}

impl Finding {
    /// A finding of your own. The rule's name begins with a reverse domain name and a slash, such as
    /// `org.example/unpaid`; the message is in lower case without a full stop.
    #[must_use]
    pub fn new(
        rule: impl Into<Cow<'static, str>>,
        severity: Severity,
        message: impl Into<String>,
        subject: Subject,
    ) -> Self {
        Self {
            rule: rule.into(),
            severity,
            message: message.into(),
            subject,
            document: 0,
            at: None,
            params: BTreeMap::new(),
            help: None,
            fix: None,
            rests_on: Vec::new(),
        }
    }

    /// Adds a fact.
    pub fn fact(&mut self, name: &str, value: impl Into<Value>) -> &mut Self {
        self.params.insert(name.to_owned(), value.into());
        self
    }

    /// The location in the source, or else the JSON Pointer, as a text.
    #[must_use]
    pub fn location(&self) -> String {
        self.at.as_ref().map_or_else(|| self.subject.path.clone(), ToString::to_string)
    }

    /// Adds a fix that leaves the meaning of the document as it is.
    pub fn fix_safely(&mut self, does: impl Into<String>, edits: Vec<Edit>) -> &mut Self {
        self.fix = Some(Box::new(Fix::safe(does, edits)));
        self
    }

    /// Adds a fix that a person must confirm, since `does` states something that the document does
    /// not say.
    pub fn fix_if_confirmed(&mut self, does: impl Into<String>, edits: Vec<Edit>) -> &mut Self {
        self.fix = Some(Box::new(Fix::to_confirm(does, edits)));
        self
    }

    /// States what the fix is computed from, as pointers. It is withdrawn if another finding is
    /// about one of these values.
    pub(crate) fn resting_on(&mut self, values: impl IntoIterator<Item = String>) -> &mut Self {
        self.rests_on = values.into_iter().collect();
        self
    }

    /// Adds advice for this case, to replace the rule's general advice.
    pub fn help(&mut self, help: impl Into<String>) -> &mut Self {
        self.help = Some(help.into());
        self
    }
}
