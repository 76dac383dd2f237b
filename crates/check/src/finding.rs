//! A finding: one thing that a rule has to say about one place of a document.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt;

use obvert_model::Location;
use obvert_model::edit::{Edit, Fix};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// How much a finding weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing; nothing has to change.
    Note,
    /// Probably wrong, or unusual enough that a receiving office will ask.
    Warning,
    /// Wrong: the record contradicts itself or the format.
    Error,
}

impl Severity {
    /// Every severity, the lightest first.
    pub const ALL: [Self; 3] = [Self::Note, Self::Warning, Self::Error];

    /// The word that stands in reports.
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

/// The signature is serde's.
#[allow(clippy::trivially_copy_pass_by_ref)]
fn is_first(document: &usize) -> bool {
    *document == 0
}

/// One finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// The rule, or the kind of structural problem, by its name.
    pub rule: Cow<'static, str>,
    /// How much it weighs.
    pub severity: Severity,
    /// What is wrong: lower case, no full stop, numbers with their units.
    pub message: String,
    /// The place, as a JSON Pointer (RFC 6901) into the document.
    pub path: String,
    /// The document that it is about, by its place in the report's `documents`, from 0; the first one when absent.
    #[serde(skip_serializing_if = "is_first", default)]
    pub document: usize,
    /// The place in the source that was read.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub at: Option<Location>,
    /// The id of the row that `path` leads into, in a table other than those of pipes and runs: of a structure, a media
    /// file, a locate, a rating, a party, a piece of equipment.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub record: Option<String>,
    /// The pipe that it concerns.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pipe: Option<String>,
    /// The run that it concerns.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub run: Option<String>,
    /// The observation that it concerns.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub observation: Option<String>,
    /// The distance along the run, in the document's length unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub distance: Option<f64>,
    /// The facts behind the message, by name, for software that does not read messages. The specification says which ones
    /// the findings of a rule state, and in what unit.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub params: BTreeMap<String, Value>,
    /// What to do.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub help: Option<String>,
    /// How to mend it, where that can be told from the document: edits of the document as it was checked.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fix: Option<Box<Fix>>,
}

impl Finding {
    /// Adds a fact behind the message.
    pub fn fact(&mut self, name: &str, value: impl Into<Value>) -> &mut Self {
        self.params.insert(name.to_owned(), value.into());
        self
    }

    /// Its place: in the source where it is known, in the document otherwise.
    #[must_use]
    pub fn place(&self) -> String {
        self.at.as_ref().map_or_else(|| self.path.clone(), ToString::to_string)
    }

    /// Says how to mend it, where the mend changes nothing that anybody meant.
    pub fn fix_safely(&mut self, does: impl Into<String>, edits: Vec<Edit>) -> &mut Self {
        self.fix = Some(Box::new(Fix::safe(does, edits)));
        self
    }

    /// Says how to mend it, where somebody must confirm what `does` states.
    pub fn fix_if_confirmed(&mut self, does: impl Into<String>, edits: Vec<Edit>) -> &mut Self {
        self.fix = Some(Box::new(Fix::to_confirm(does, edits)));
        self
    }

    /// Says what to do in this case, where the rule's general advice is not enough.
    pub fn help(&mut self, help: impl Into<String>) -> &mut Self {
        self.help = Some(help.into());
        self
    }
}
