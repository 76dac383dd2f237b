//! Migrating a document, step by step, and the canonical form of a document in its own version.

use serde_json::Value;

use super::{CURRENT, KNOWN, STEPS, Taken, stated, without_mark};
use crate::edit::{self, EditError};
use crate::read::{self, ReadError, Subject, locate_all, validated};
use crate::text::Digest;

/// Why a document could not be migrated.
#[derive(Clone, Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MigrateError {
    /// No version is stated, or the source is no JSON object.
    #[error("states no version of the format: it has no key \"obvert\" with a text at its top")]
    Unstated,
    /// The version is none that this program knows.
    #[error("version {0:?} of the format is not known here; there are: {all}; a newer obvert may know it", all = KNOWN.join(", "))]
    Unknown(String),
    /// Nothing leads back.
    #[error("no steps lead from version {from} of the format back to {to}")]
    Backwards {
        /// The version that the document states.
        from: String,
        /// The version that was asked for.
        to: String,
    },
    /// The document is none of the version that it states.
    #[error("by the schema of its own version {version}")]
    Before {
        /// That version.
        version: &'static str,
        /// What is wrong with it.
        source: ReadError,
    },
    /// A step could not be applied.
    #[error("the step {step} could not be applied")]
    Step {
        /// Which.
        step: &'static str,
        /// Why.
        source: EditError,
    },
    /// What the steps made is no document of its version, which is a mistake in the steps.
    #[error("the steps to version {version} made no document of it")]
    After {
        /// The version.
        version: &'static str,
        /// What is wrong with what they made.
        source: ReadError,
    },
}

/// A document in another version.
#[derive(Clone, Debug)]
pub struct Migrated {
    /// The version that it was in.
    pub from: &'static str,
    /// The version that it is in now.
    pub to: &'static str,
    /// Its text.
    pub text: String,
    /// The steps that changed something, in order.
    pub steps: Vec<Taken>,
    /// For every version passed, what moved on which line.
    pub(super) shifts: Vec<Vec<Shift>>,
}

/// A token that another took the place of: what stands behind it in its line moved.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shift {
    line: usize,
    /// Of the token, in the text before.
    column: usize,
    by: isize,
}

impl Migrated {
    /// The column that something had in the text before, whose lines are the same.
    #[must_use]
    pub fn column_before(&self, line: usize, column: usize) -> usize {
        self.shifts.iter().rev().fold(column, |column, shifts| {
            let mut moved = 0;
            for shift in shifts.iter().filter(|shift| shift.line == line) {
                if shift.column.saturating_add_signed(moved) < column {
                    moved += shift.by;
                }
            }
            column.saturating_add_signed(-moved)
        })
    }
}

/// The schema of a document of a version; `None` for a version that is not known.
#[must_use]
pub fn schema(version: &str) -> Option<Value> {
    match version {
        "0.1" => {
            serde_json::from_str(include_str!("../../data/versions/document-0.1.schema.json")).ok()
        }
        CURRENT => Some(crate::schema::document()),
        _ => None,
    }
}

fn subject(version: &str) -> Subject {
    if version == "0.1" { Subject::Document0_1 } else { Subject::Document }
}

/// The version of this program that a text names, and its place among all.
fn known(version: &str) -> Result<usize, MigrateError> {
    KNOWN
        .iter()
        .position(|known| *known == version)
        .ok_or_else(|| MigrateError::Unknown(version.to_owned()))
}

/// Brings a document to a version, step by step; one that is of that version already comes back as
/// it is. A byte-order mark stays.
///
/// # Errors
/// When the document is none of the version that it states, with every problem and its place; when
/// that version, or the one asked for, is not known; when the one asked for is older.
pub fn migrate(source: &[u8], to: &str) -> Result<Migrated, MigrateError> {
    let target = known(to)?;
    let (mark, body) = without_mark(source);
    let Some(version) = stated(body) else {
        // What is no JSON is told as that.
        return Err(match validated(body, Subject::Document) {
            Err(
                error @ (ReadError::Empty | ReadError::Encoding { .. } | ReadError::Syntax { .. }),
            ) => MigrateError::Before { version: CURRENT, source: error },
            _ => MigrateError::Unstated,
        });
    };
    let first = known(&version)?;
    if first > target {
        return Err(MigrateError::Backwards { from: version, to: to.to_owned() });
    }
    let before = KNOWN[first];
    let mut value = validated(body, subject(before))
        .map_err(|source| MigrateError::Before { version: before, source })?;
    let mut text = String::from_utf8_lossy(body).into_owned();
    let (mut taken, mut shifts) = (Vec::new(), Vec::new());
    for place in first..target {
        let (from, next) = (KNOWN[place], KNOWN[place + 1]);
        let mut moved = Vec::new();
        let steps =
            STEPS.iter().filter(|step| step.from == from).map(|step| (step, step.edits(&value)));
        let steps: Vec<_> = steps.filter(|(_, edits)| !edits.is_empty()).collect();
        let pointers =
            steps.iter().flat_map(|(_, edits)| edits.iter().filter_map(edit::Edit::source));
        let places = locate_all(text.as_bytes(), pointers);
        let mut migrated = text.clone();
        for (step, edits) in &steps {
            moved.extend(edits.iter().filter_map(|edit| shift(&text, edit, &places)));
            migrated = edit::text(&migrated, edits)
                .map_err(|source| MigrateError::Step { step: step.name, source })?;
        }
        moved.sort_by_key(|shift| (shift.line, shift.column));
        shifts.push(moved);
        taken.extend(steps.into_iter().map(|(step, edits)| Taken::of(step, edits)));
        value = validated(migrated.as_bytes(), subject(next))
            .map_err(|source| MigrateError::After { version: next, source })?;
        text = migrated;
    }
    Ok(Migrated {
        from: before,
        to: KNOWN[target],
        text: format!("{mark}{text}"),
        steps: taken,
        shifts,
    })
}

/// By how much an edit moves what stands behind it in its line: those of the steps replace a key or
/// a value by another.
fn shift(text: &str, edit: &edit::Edit, places: &read::Spans) -> Option<Shift> {
    let (place, width) = match edit {
        edit::Edit::Move { from, path } => {
            let key = path.rsplit_once('/')?.1.replace("~1", "/").replace("~0", "~");
            (places.key(from), edit::spelled(&key.into()))
        }
        edit::Edit::Replace { path, value } => (places.get(path), edit::spelled(value)),
        _ => return None,
    };
    let before = text.get(place.offset..place.end)?.chars().count();
    let by = isize::try_from(width.chars().count()).ok()? - isize::try_from(before).ok()?;
    Some(Shift { line: place.line, column: place.column, by })
}

/// The canonical form (RFC 8785) of a document in the version that it states: what others name it
/// by, which migrating changes.
///
/// # Errors
/// When the document is none of the version that it states, or that is not known.
pub fn canonical(source: &[u8]) -> Result<Vec<u8>, MigrateError> {
    let body = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
    let version = stated(body).ok_or(MigrateError::Unstated)?;
    let version = KNOWN[known(&version)?];
    let mut value = validated(body, subject(version))
        .map_err(|source| MigrateError::Before { version, source })?;
    without_empty_lists(&mut value);
    serde_json_canonicalizer::to_vec(&value).map_err(|_| MigrateError::Unstated)
}

/// The digest of a document in the version that it states.
///
/// # Errors
/// As [`canonical`].
pub fn digest(source: &[u8]) -> Result<Digest, MigrateError> {
    crate::write::digest_of_bytes(&canonical(source)?).map_err(|_| MigrateError::Unstated)
}

/// An empty list equals an absent one, but below extensions, where nothing is known of what it
/// means.
fn without_empty_lists(value: &mut Value) {
    match value {
        Value::Array(items) => items.iter_mut().for_each(without_empty_lists),
        Value::Object(entries) => {
            entries.retain(|key, entry| {
                key == "extensions" || entry.as_array().is_none_or(|list| !list.is_empty())
            });
            for (_, entry) in entries.iter_mut().filter(|(key, _)| *key != "extensions") {
                without_empty_lists(entry);
            }
        }
        _ => {}
    }
}
