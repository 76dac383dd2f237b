//! Changing a document where it stands: edits as operations of JSON Patch (RFC 6902), applied to
//! the text and not to a value read from it, so that a file that was written by hand keeps its key
//! order, its layout, its line endings and the spelling of its numbers everywhere but where
//! something changes.
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

/// One edit: an operation of RFC 6902. Pointers are those of RFC 6901.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "op", rename_all = "lowercase")]
pub enum Edit {
    /// Adds a member to an object, or an item to a list before the index named (`-`: at its end).
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
    /// Takes a value away from one place and adds it at another.
    Move {
        /// Where it stands.
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

    /// The place that it changes.
    #[must_use]
    pub fn path(&self) -> &str {
        match self {
            Self::Add { path, .. }
            | Self::Remove { path }
            | Self::Replace { path, .. }
            | Self::Move { path, .. } => path,
        }
    }

    /// The place whose value it takes, replaces or removes; `None` for an addition.
    #[must_use]
    pub fn source(&self) -> Option<&str> {
        match self {
            Self::Add { .. } => None,
            Self::Remove { path } | Self::Replace { path, .. } => Some(path),
            Self::Move { from, .. } => Some(from),
        }
    }

    /// The values that nobody else may rely on or change beside this edit: what is replaced, and
    /// for an item that comes or goes the whole list, since the numbers of its neighbours change.
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

/// A mend for something that was found: what to change, and whether that can be done without asking
/// anybody.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fix {
    /// Whether it changes nothing that anybody meant. Otherwise whoever applies it states something
    /// that the document does not say.
    pub safe: bool,
    /// What it does, in words; where it is not safe, what whoever applies it states. Not stable.
    pub does: String,
    /// The edits, in order.
    pub edits: Vec<Edit>,
}

impl Fix {
    /// A fix that changes nothing that anybody meant.
    #[must_use]
    pub fn safe(does: impl Into<String>, edits: Vec<Edit>) -> Self {
        Self { safe: true, does: does.into(), edits }
    }

    /// A fix that somebody must confirm.
    #[must_use]
    pub fn to_confirm(does: impl Into<String>, edits: Vec<Edit>) -> Self {
        Self { safe: false, does: does.into(), edits }
    }

    /// Whether another fix changes something that this one changes or relies on, so that only one
    /// of them can be applied to a document before it is looked at again.
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

    /// The pointers that it changes: a fix overlaps with another where one of the one lies within
    /// one of the other.
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

/// Whether a pointer leads to a value or into it.
fn within(pointer: &str, value: &str) -> bool {
    pointer.strip_prefix(value).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

/// A token as the number of an item (RFC 6901, section 4): no sign, no leading zero.
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
    /// A pointer without a slash in front, or with one of RFC 6901's escapes cut short.
    #[error("{0:?} is no JSON Pointer")]
    Pointer(String),
    /// There is no such value.
    #[error("the document has nothing at {0:?}")]
    Missing(String),
    /// The index of an item that a list cannot have.
    #[error("{0:?} names no place in its list")]
    Index(String),
    /// A value cannot be moved into itself.
    #[error("{from:?} cannot be moved into itself, to {path:?}")]
    Inside {
        /// What was to be moved.
        from: String,
        /// Where to.
        path: String,
    },
    /// The document as a whole can be replaced, and nothing else.
    #[error("the whole document can be replaced, but not added, removed or moved")]
    Whole,
}

/// Applies edits to the text of a document, in order, each to the outcome of the one before. Only
/// what they name changes; the rest stays byte for byte. A new member stands where the format has
/// it, in the manner of its neighbours; a member that is moved within its object is renamed in its
/// place; an item that is moved leaves the white space between the items as it is. Where a key
/// stands twice in an object, the later one counts, and a change leaves only that one.
///
/// # Errors
/// When the text is not JSON, or an edit names a place that is not there.
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

/// A value as it is written in the layout for files: `, ` and `: ` on one line, a whole number
/// without a decimal point.
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
