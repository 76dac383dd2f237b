//! What a format could not hold: every conversion accounts for what it dropped or changed.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use obvert_model::Location;

/// What happened to a value.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum LossKind {
    /// It is not in the output.
    Dropped,
    /// It is in the output in a way that cannot be turned back exactly.
    Changed,
    /// It was put in by the conversion, and says nothing that somebody would have to have recorded.
    /// Nothing is lost by it.
    Defaulted,
    /// It became a code of another list that does not mean the same.
    Translated,
}

/// One value that was not carried over as it was.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Loss {
    /// What happened.
    pub kind: LossKind,
    /// The value, as a JSON Pointer into the document.
    pub pointer: String,
    /// Why: lower case, no full stop.
    pub message: String,
    /// What it was, where that is known: in the units of the output, where those are others.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub was: Option<Value>,
    /// What it became, where it became something and that is known; in the units of the output.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub becomes: Option<Value>,
    /// Where it stood in what was read, where no value of the document tells.
    #[serde(skip)]
    pub place: Option<Box<Location>>,
}

impl Loss {
    /// A loss of which no more is known than what happened, where and why.
    #[must_use]
    pub fn new(kind: LossKind, pointer: impl Into<String>, message: impl Into<String>) -> Self {
        Self {
            kind,
            pointer: pointer.into(),
            message: message.into(),
            was: None,
            becomes: None,
            place: None,
        }
    }
}

/// Something worth knowing about the output that is no loss: the document reads back unchanged all
/// the same.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Note {
    /// What it is about, as a JSON Pointer into the document.
    pub pointer: String,
    /// What there is to know: lower case, no full stop.
    pub message: String,
    /// Whether whoever converts should hear of it at once, since the output is not what they will
    /// expect of the format.
    #[serde(skip)]
    pub alarm: bool,
}

impl Note {
    /// A note that can wait until somebody looks for it.
    #[must_use]
    pub fn new(pointer: impl Into<String>, message: impl Into<String>) -> Self {
        Self { pointer: pointer.into(), message: message.into(), alarm: false }
    }

    /// A note that whoever converts should hear at once.
    #[must_use]
    pub fn alarm(pointer: impl Into<String>, message: impl Into<String>) -> Self {
        Self { alarm: true, ..Self::new(pointer, message) }
    }
}

/// Everything that a conversion did not carry over as it was, and what it put in; empty exactly
/// when the document can be read back unchanged.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct LossReport {
    /// The losses, in the order of the document.
    pub losses: Vec<Loss>,
    /// What is worth knowing besides, in the order of the document. Notes do not count as losses.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<Note>,
}

impl LossReport {
    /// Whether the document comes back unchanged.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.losses.is_empty()
    }

    /// Whether anything of the document was lost. What was merely [put in](LossKind::Defaulted) is
    /// no loss: everything that the document says is there.
    #[must_use]
    pub fn loses(&self) -> bool {
        self.losses.iter().any(|loss| loss.kind != LossKind::Defaulted)
    }

    /// Notes a loss.
    pub fn add(&mut self, kind: LossKind, pointer: impl Into<String>, message: impl Into<String>) {
        self.losses.push(Loss::new(kind, pointer, message));
    }
    /// Adds a note.
    pub fn note(&mut self, pointer: impl Into<String>, message: impl Into<String>) {
        self.notes.push(Note::new(pointer, message));
    }
}
