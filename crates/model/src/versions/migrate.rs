//! Migrates a document step by step, and computes the canonical form of a document in its own
//! version.

use serde_json::Value;

use super::{AppliedStep, CURRENT, KNOWN, STEPS, stated, without_mark};
use crate::edit::{self, EditError};
use crate::read::{self, ReadError, Subject, locate_all, validated};
use crate::text::Digest;

/// Why a document could not be migrated.
#[derive(Clone, Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MigrateError {
    /// No version is stated, or the source is not a JSON object.
    #[error("states no version of the format: there is no top-level key \"obvert\" with a text")]
    NoVersion,
    /// The version is not known.
    #[error("version {0:?} of the format is not known; known versions are {all}; a newer obvert may know it", all = KNOWN.join(", "))]
    UnknownVersion(String),
    /// The requested version is older.
    #[error("cannot migrate from version {from} of the format back to {to}")]
    Downgrade {
        /// The version that the document states.
        from: String,
        /// The requested version.
        to: String,
    },
    /// The document is invalid by the schema of the version that it states.
    #[error("invalid by the schema of its version {version}")]
    InvalidInput {
        /// That version.
        version: &'static str,
        /// What is wrong with it.
        source: ReadError,
    },
    /// A step could not be applied.
    #[error("the step {step} could not be applied")]
    Step {
        /// The name of the step.
        step: &'static str,
        /// Why.
        source: EditError,
    },
    /// The result of the steps is invalid, which is a bug in the steps.
    #[error("the steps to version {version} gave an invalid document")]
    InvalidOutput {
        /// The version.
        version: &'static str,
        /// What is wrong with the result.
        source: ReadError,
    },
}

/// A migrated document.
#[derive(Clone, Debug)]
pub struct Migrated {
    /// The version that it had.
    pub from: &'static str,
    /// The version that it has now.
    pub to: &'static str,
    /// Its text.
    pub text: String,
    /// The steps that changed something, in order.
    pub steps: Vec<AppliedStep>,
    /// For every version step, what moved on which line.
    pub(super) shifts: Vec<Vec<Shift>>,
}

/// A token that was replaced by one of another length, which moves the rest of its line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shift {
    line: usize,
    /// The column of the token in the old text.
    column: usize,
    by: isize,
}

impl Migrated {
    /// The column in the original text, which has the same lines.
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

/// The index of a version among the known ones.
fn known(version: &str) -> Result<usize, MigrateError> {
    KNOWN
        .iter()
        .position(|known| *known == version)
        .ok_or_else(|| MigrateError::UnknownVersion(version.to_owned()))
}

/// Migrates a document to a version, step by step. A document that already has the version is
/// returned unchanged. A byte-order mark is kept.
///
/// # Errors
/// If the document is invalid by the schema of its version, with every problem and its location; if
/// its version or the requested one is not known; if the requested version is older.
pub fn migrate(source: &[u8], to: &str) -> Result<Migrated, MigrateError> {
    let target = known(to)?;
    let (mark, body) = without_mark(source);
    let Some(version) = stated(body) else {
        // Report a syntax error as such.
        return Err(match validated(body, Subject::Document) {
            Err(
                error @ (ReadError::Empty | ReadError::Encoding { .. } | ReadError::Syntax { .. }),
            ) => MigrateError::InvalidInput { version: CURRENT, source: error },
            _ => MigrateError::NoVersion,
        });
    };
    let first = known(&version)?;
    if first > target {
        return Err(MigrateError::Downgrade { from: version, to: to.to_owned() });
    }
    let before = KNOWN[first];
    let mut value = validated(body, subject(before))
        .map_err(|source| MigrateError::InvalidInput { version: before, source })?;
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
        taken.extend(steps.into_iter().map(|(step, edits)| AppliedStep::of(step, edits)));
        value = validated(migrated.as_bytes(), subject(next))
            .map_err(|source| MigrateError::InvalidOutput { version: next, source })?;
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

/// How far an edit moves the rest of its line. The edits of steps replace a key or a value.
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

/// The canonical form (RFC 8785) of a document in the version that it states. Migrating changes the
/// canonical form, and with it the digest by which others refer to the document.
///
/// # Errors
/// If the document is invalid by the schema of its version, or the version is not known.
pub fn canonical(source: &[u8]) -> Result<Vec<u8>, MigrateError> {
    let body = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
    let version = stated(body).ok_or(MigrateError::NoVersion)?;
    let version = KNOWN[known(&version)?];
    let mut value = validated(body, subject(version))
        .map_err(|source| MigrateError::InvalidInput { version, source })?;
    without_empty_lists(&mut value);
    serde_json_canonicalizer::to_vec(&value).map_err(|_| MigrateError::NoVersion)
}

/// The digest of a document in the version that it states.
///
/// # Errors
/// As [`canonical`].
pub fn digest(source: &[u8]) -> Result<Digest, MigrateError> {
    crate::write::digest_of_bytes(&canonical(source)?).map_err(|_| MigrateError::NoVersion)
}

/// Removes empty lists, which equal absent ones, except inside extensions, whose meaning is not
/// known.
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
