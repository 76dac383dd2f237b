//! Loss reports: what each conversion dropped or changed.

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
    /// It is in the output, but cannot be converted back exactly.
    Changed,
    /// It was added by the conversion, and is not information that would have to be recorded.
    /// Adding it loses nothing.
    Defaulted,
    /// It became a code of another list that has another meaning.
    Translated,
}

/// One value that was not carried over unchanged.
#[non_exhaustive]
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Loss {
    /// What happened.
    pub kind: LossKind,
    /// The value, as a JSON Pointer into the document.
    pub pointer: String,
    /// Why, in lower case without a full stop.
    pub message: String,
    /// The old value, if it is known, in the units of the output if those differ.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub was: Option<Value>,
    /// The new value, if there is one and it is known, in the units of the output.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub becomes: Option<Value>,
    /// Its location in the source, if no value of the document has that location.
    #[serde(skip)]
    pub place: Option<Box<Location>>,
}

impl Loss {
    /// A loss without old value, new value or location.
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

    /// This loss with the old and the new value, as far as they are known.
    #[must_use]
    pub fn with_values(self, was: Option<Value>, becomes: Option<Value>) -> Self {
        Self { was, becomes, ..self }
    }

    /// This loss with its location in the source, if no value of the document has that location.
    #[must_use]
    pub fn with_location(self, location: Location) -> Self {
        Self { place: Some(Box::new(location)), ..self }
    }
}

/// A note about the output that is not a loss: the document still reads back unchanged.
#[doc(alias = "warning")]
#[non_exhaustive]
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Note {
    /// Its subject, as a JSON Pointer into the document.
    pub pointer: String,
    /// The note, in lower case without a full stop.
    pub message: String,
    /// Whether to show the note at once, because the output differs from what users of the format
    /// expect.
    #[serde(skip)]
    pub alarm: bool,
}

impl Note {
    /// A note that need not be shown at once.
    #[must_use]
    pub fn new(pointer: impl Into<String>, message: impl Into<String>) -> Self {
        Self { pointer: pointer.into(), message: message.into(), alarm: false }
    }

    /// A note to show at once.
    #[must_use]
    pub fn alarm(pointer: impl Into<String>, message: impl Into<String>) -> Self {
        Self { alarm: true, ..Self::new(pointer, message) }
    }
}

/// The values that a conversion did not carry over unchanged, and the values that it added. It is
/// empty if and only if the document can be read back unchanged.
#[doc(alias = "lossiness")]
#[non_exhaustive]
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct LossReport {
    /// The losses, in the order of the document.
    pub losses: Vec<Loss>,
    /// Other notes, in the order of the document. They do not count as losses.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<Note>,
}

impl LossReport {
    /// Whether the document comes back unchanged.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.losses.is_empty()
    }

    /// Whether anything of the document was lost. A value that was [added](LossKind::Defaulted) is
    /// not a loss: everything in the document is still there.
    #[must_use]
    pub fn loses(&self) -> bool {
        self.losses.iter().any(|loss| loss.kind != LossKind::Defaulted)
    }

    /// Adds a loss.
    pub fn add(&mut self, kind: LossKind, pointer: impl Into<String>, message: impl Into<String>) {
        self.losses.push(Loss::new(kind, pointer, message));
    }
    /// Adds a note.
    pub fn note(&mut self, pointer: impl Into<String>, message: impl Into<String>) {
        self.notes.push(Note::new(pointer, message));
    }
}
