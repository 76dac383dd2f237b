//! Edits a document in its text, by operations of JSON Patch (RFC 6902). A file written by hand
//! keeps its key order, layout, line endings and number spelling, except where something changes.
//!
//! ```
//! use obvert_model::edit::{self, Edit};
//!
//! let text = "{\r\n  \"at\": 12.50,\r\n  \"code\": \"Roots.Mass\"\r\n}";
//! let changed = edit::text(text, &[Edit::replace("/code", "roots.mass"), Edit::add("/joint", true)])?;
//! assert_eq!(changed, "{\r\n  \"at\": 12.50,\r\n  \"code\": \"roots.mass\",\r\n  \"joint\": true\r\n}");
//! # Ok::<(), edit::EditError>(())
//! ```

mod tree;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// One edit: an operation of RFC 6902. Pointers are JSON Pointers (RFC 6901).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "op", rename_all = "lowercase")]
pub enum Edit {
    /// Adds a member to an object, or inserts an item into a list before the given index (`-` for
    /// the end).
    Add {
        /// Where.
        path: String,
        /// What.
        value: Value,
    },
    /// Removes a member or an item.
    Remove {
        /// Which.
        path: String,
    },
    /// Replaces a value.
    Replace {
        /// Which.
        path: String,
        /// By what.
        value: Value,
    },
    /// Moves a value from one place to another.
    Move {
        /// Where it is.
        from: String,
        /// Where it goes, in the document without it.
        path: String,
    },
}

impl Edit {
    /// Adds a value.
    #[must_use]
    pub fn add(path: impl Into<String>, value: impl Into<Value>) -> Self {
        Self::Add { path: path.into(), value: value.into() }
    }

    /// Removes a value.
    #[must_use]
    pub fn remove(path: impl Into<String>) -> Self {
        Self::Remove { path: path.into() }
    }

    /// Replaces a value.
    #[must_use]
    pub fn replace(path: impl Into<String>, value: impl Into<Value>) -> Self {
        Self::Replace { path: path.into(), value: value.into() }
    }

    /// Moves a value.
    #[must_use]
    pub fn relocate(from: impl Into<String>, path: impl Into<String>) -> Self {
        Self::Move { from: from.into(), path: path.into() }
    }

    /// The pointer that it changes.
    #[must_use]
    pub fn path(&self) -> &str {
        match self {
            Self::Add { path, .. }
            | Self::Remove { path }
            | Self::Replace { path, .. }
            | Self::Move { path, .. } => path,
        }
    }

    /// The pointer of the value that it moves, replaces or removes; `None` for an addition.
    #[must_use]
    pub fn source(&self) -> Option<&str> {
        match self {
            Self::Add { .. } => None,
            Self::Remove { path } | Self::Replace { path, .. } => Some(path),
            Self::Move { from, .. } => Some(from),
        }
    }

    /// The values that no other edit may use or change together with this one: the value that is
    /// replaced; if an item is added or removed, the whole list, since the indexes of its
    /// neighbours change.
    fn touched(&self) -> Vec<&str> {
        fn of(path: &str) -> &str {
            match path.rsplit_once('/') {
                Some((holder, last)) if last == "-" || index(last).is_some() => holder,
                _ => path,
            }
        }
        match self {
            Self::Replace { path, .. } => vec![path],
            Self::Add { path, .. } | Self::Remove { path } => vec![of(path)],
            Self::Move { from, path } => vec![of(from), of(path)],
        }
    }
}

/// A fix for a finding: what to change, and whether that is safe to do automatically.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fix {
    /// Whether it keeps the meaning of the document. If not, applying it adds a statement that the
    /// document does not make.
    pub safe: bool,
    /// What it does, in words; if it is not safe, the statement that it adds. The wording is not
    /// stable.
    pub does: String,
    /// The edits, in order.
    pub edits: Vec<Edit>,
}

impl Fix {
    /// A fix that keeps the meaning of the document.
    #[must_use]
    pub fn safe(does: impl Into<String>, edits: Vec<Edit>) -> Self {
        Self { safe: true, does: does.into(), edits }
    }

    /// A fix that a person must confirm.
    #[must_use]
    pub fn to_confirm(does: impl Into<String>, edits: Vec<Edit>) -> Self {
        Self { safe: false, does: does.into(), edits }
    }

    /// Whether another fix changes something that this one changes or uses. Only one of the two can
    /// be applied before the document is checked again.
    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        let touched = |fix: &Self| {
            fix.edits.iter().flat_map(Edit::touched).map(str::to_owned).collect::<Vec<_>>()
        };
        let others = touched(other);
        touched(self)
            .iter()
            .any(|one| others.iter().any(|other| within(one, other) || within(other, one)))
    }

    /// The pointers that it changes. Two fixes overlap if a pointer of one is within a pointer of
    /// the other.
    pub fn touched(&self) -> impl Iterator<Item = &str> {
        self.edits.iter().flat_map(Edit::touched)
    }

    /// Whether it only changes the order of the items of one list.
    #[must_use]
    pub fn reorders(&self) -> bool {
        let list = |path: &str| {
            path.rsplit_once('/')
                .filter(|(_, last)| index(last).is_some())
                .map(|(list, _)| list.to_owned())
        };
        let mut lists = self.edits.iter().map(|edit| match edit {
            Edit::Move { from, path } => list(from).filter(|one| list(path).as_ref() == Some(one)),
            _ => None,
        });
        let Some(Some(first)) = lists.next() else { return false };
        lists.all(|list| list.as_ref() == Some(&first))
    }
}

/// Whether a pointer is that of a value or of something inside it.
fn within(pointer: &str, value: &str) -> bool {
    pointer.strip_prefix(value).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

/// A token as the index of an item (RFC 6901, section 4): no sign, no leading zero.
fn index(token: &str) -> Option<usize> {
    let plain = token == "0" || !token.starts_with('0');
    (plain && token.bytes().all(|byte| byte.is_ascii_digit())).then(|| token.parse().ok()).flatten()
}

/// A key as a token of a pointer.
#[must_use]
pub fn token(key: &str) -> String {
    key.replace('~', "~0").replace('/', "~1")
}

/// Why edits could not be applied.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum EditError {
    /// The text is not JSON.
    #[error("the text is not JSON: {0}")]
    Syntax(String),
    /// A pointer that does not begin with a slash, or has an incomplete escape of RFC 6901.
    #[error("{0:?} is not a JSON Pointer")]
    Pointer(String),
    /// There is no such value.
    #[error("the document has nothing at {0:?}")]
    Missing(String),
    /// The token is not an index of the list.
    #[error("{0:?} is not an index of its list")]
    Index(String),
    /// A value cannot be moved into itself.
    #[error("{from:?} cannot be moved into itself, to {path:?}")]
    Inside {
        /// The value to move.
        from: String,
        /// Where to.
        path: String,
    },
    /// The whole document can be replaced, but not added, removed or moved.
    #[error("the whole document can be replaced, but not added, removed or moved")]
    Whole,
}

/// Applies edits to the text of a document, in order, each to the result of the one before.
/// Everything else stays byte for byte. A new member is placed in the order of the format and
/// formatted like its neighbours. A member that is moved within its object is renamed in place. An
/// item that is moved leaves the white space between items as it is. If a key is duplicated in an
/// object, the last one counts, and a change removes the others.
///
/// # Errors
/// If the text is not JSON, or the document has no value at a pointer.
pub fn text(text: &str, edits: &[Edit]) -> Result<String, EditError> {
    let (mark, body) = match text.strip_prefix('\u{FEFF}') {
        Some(body) => ("\u{FEFF}", body),
        None => ("", text),
    };
    if let Err(error) = serde_json::from_str::<serde::de::IgnoredAny>(body) {
        return Err(EditError::Syntax(error.to_string()));
    }
    let mut tree = tree::Tree::new(body)?;
    for edit in edits {
        tree.apply(edit)?;
    }
    Ok(tree.write(mark, text.len()))
}

/// A value as files have it: on one line with `, ` and `: `, whole numbers without a decimal point.
#[must_use]
pub fn spelled(value: &Value) -> String {
    let mut out = String::new();
    spell(value, &mut out);
    out
}

fn spell(value: &Value, out: &mut String) {
    match value {
        Value::Array(items) => {
            out.push('[');
            for (index, item) in items.iter().enumerate() {
                out.push_str(if index > 0 { ", " } else { "" });
                spell(item, out);
            }
            out.push(']');
        }
        Value::Object(members) => {
            out.push('{');
            for (index, (key, member)) in members.iter().enumerate() {
                out.push_str(if index > 0 { ", " } else { "" });
                out.push_str(&Value::from(key.as_str()).to_string());
                out.push_str(": ");
                spell(member, out);
            }
            out.push('}');
        }
        Value::Number(number) => {
            let text = number.to_string();
            out.push_str(text.strip_suffix(".0").filter(|whole| *whole != "-0").unwrap_or(&text));
        }
        other => out.push_str(&other.to_string()),
    }
}
