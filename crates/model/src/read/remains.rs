//! The readable part of a document with structural problems. As little as possible is removed, so
//! that a checker can check the rest of a document with one bad word.
//!
//! An unreadable value is removed with its key if the key is optional, otherwise with its row. A
//! list that is not a table, such as the vertices of a path, is removed as a whole, since the rest
//! would mean something else. Removed rows change the indexes of later rows; [`Remains::original`]
//! maps pointers back.

use std::borrow::Cow;
use std::collections::{BTreeMap, HashSet};

use serde::Deserialize;
use serde_json::Value;

use super::diagnose::value_problems;
use super::error::{Problem, ProblemKind};
use crate::tables::{Document, Head, Run};
use crate::text::{PipeId, RunId};

/// Something that was removed from a document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// Its location in the source, as a JSON Pointer (RFC 6901).
    pub pointer: String,
    /// What was wrong with it, or with something inside it.
    pub kind: ProblemKind,
    /// For an unknown key, the key that was probably meant.
    pub meant: Option<String>,
    /// The value. Of a row, only its id and the pipe that it names.
    pub value: Value,
}

/// The readable part of a document.
#[derive(Clone, Debug)]
pub struct Remains {
    /// The readable part, as a document.
    pub document: Document,
    /// What was removed, in the order of the source.
    pub left_out: Vec<LeftOut>,
    kept: Kept,
}

/// For each table that lost rows, by its pointer in the source: the original indexes of the
/// remaining rows.
pub(super) type Kept = BTreeMap<String, Vec<usize>>;

/// The readable part of a document without the content of its runs.
#[derive(Clone, Debug)]
pub struct Readable {
    /// Everything but the runs.
    pub head: Head,
    /// The readable runs, in order.
    pub runs: Vec<RunStub>,
    /// What was removed, in the order of the source.
    pub left_out: Vec<LeftOut>,
    pub(super) kept: Kept,
}

/// Which run it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunStub {
    /// Its id.
    pub id: RunId,
    /// The pipe that it went through.
    pub pipe: PipeId,
}

impl Readable {
    /// The pointer in the source for a pointer of the readable part.
    #[must_use]
    pub fn original(&self, pointer: &str) -> String {
        original(&self.kept, pointer)
    }

    /// Whether all pointers are the same in the source, since no row was removed.
    #[must_use]
    pub fn in_place(&self) -> bool {
        self.kept.is_empty()
    }

    /// The index of a row among those that were read, by its number in the source; `None` if it
    /// was not read. `table` is the pointer of its table, and `count` how many of it were read.
    #[must_use]
    pub fn index_of(&self, table: &str, row: usize, count: usize) -> Option<usize> {
        match self.kept.get(table) {
            Some(kept) => kept.binary_search(&row).ok(),
            None => Some(row).filter(|row| *row < count),
        }
    }

    pub(super) fn sort(&mut self) {
        self.left_out.sort_by(|a, b| order(&a.pointer, &b.pointer));
    }
}

/// Placeholders for required values of the head that few rules use, so that all other rules can
/// run.
const PLACEHOLDERS: [(&str, &str); 2] =
    [("id", "urn:uuid:00000000-0000-0000-0000-000000000000"), ("issued", "1970-01-01T00:00:00Z")];

/// Maximum rounds of removing: a value, its parent, its row, and spare rounds.
const ROUNDS: usize = 6;

/// The readable part of a value with structural problems; `None` if there is none, for example if
/// the units are invalid.
pub(super) fn remains(mut value: Value, problems: &[Problem]) -> Option<Remains> {
    let (mut left_out, mut kept) = (Vec::new(), Kept::new());
    let mut found = Cow::Borrowed(problems);
    for _ in 0..ROUNDS {
        let removed_count = remove_problems(&mut value, &found, &mut left_out, &mut kept)?
            + add_placeholders(&mut value, &mut left_out);
        if let Ok(document) = Document::deserialize(&value) {
            left_out.sort_by(|a: &LeftOut, b: &LeftOut| order(&a.pointer, &b.pointer));
            return Some(Remains { document, left_out, kept });
        }
        if removed_count == 0 {
            return None;
        }
        found = Cow::Owned(value_problems(&value));
    }
    None
}

impl Remains {
    /// The pointer in the source for a pointer of the readable part.
    #[must_use]
    pub fn original(&self, pointer: &str) -> String {
        original(&self.kept, pointer)
    }

    /// Whether all pointers are the same in the source, since no row was removed.
    #[must_use]
    pub fn in_place(&self) -> bool {
        self.kept.is_empty()
    }

    /// The readable part, what was removed, and the remaining rows of tables that lost some.
    pub(super) fn into_all(self) -> (Document, Vec<LeftOut>, Kept) {
        (self.document, self.left_out, self.kept)
    }

    /// The readable part with its runs apart.
    #[must_use]
    pub fn into_parts(self) -> (Readable, Vec<Run>) {
        let Self { document: Document { head, runs }, left_out, kept } = self;
        let stub = |run: &Run| RunStub { id: run.id.clone(), pipe: run.pipe.clone() };
        (Readable { head, runs: runs.iter().map(stub).collect(), left_out, kept }, runs)
    }
}

/// Adds placeholders for an unreadable id or date of the document.
fn add_placeholders(value: &mut Value, out: &mut Vec<LeftOut>) -> usize {
    let Some(head) = value.as_object_mut() else { return 0 };
    let mut inserted = 0;
    for (key, text) in
        PLACEHOLDERS.iter().filter(|(key, _)| !head.contains_key(*key)).collect::<Vec<_>>()
    {
        head.insert((*key).to_owned(), (*text).into());
        let pointer = format!("/{key}");
        if !out.iter().any(|out| out.pointer == pointer) {
            out.push(LeftOut {
                pointer,
                kind: ProblemKind::MissingKey,
                meant: None,
                value: Value::Null,
            });
        }
        inserted += 1;
    }
    inserted
}

/// Removes the value of every problem. Returns how many were removed, or `None` if it would be the
/// document.
fn remove_problems(
    value: &mut Value,
    problems: &[Problem],
    out: &mut Vec<LeftOut>,
    kept: &mut Kept,
) -> Option<usize> {
    let mut removed_count = 0;
    let mut places: Vec<(String, &Problem)> = Vec::new();
    for problem in problems {
        match problem.kind {
            // One of two equal rows is enough.
            ProblemKind::DuplicateId | ProblemKind::DuplicateRow => continue,
            // It is not in the value.
            ProblemKind::OrphanRow => {
                let (pointer, kind) = (problem.pointer.clone(), problem.kind);
                out.push(LeftOut { pointer, kind, meant: None, value: Value::Null });
                continue;
            }
            // Neither are unknown elements, columns and tables of other formats, which were
            // skipped.
            ProblemKind::UnknownKey if value.pointer(&problem.pointer).is_none() => {
                let (pointer, kind, meant) =
                    (problem.pointer.clone(), problem.kind, problem.suggestion.clone());
                out.push(LeftOut { pointer, kind, meant, value: Value::Null });
                continue;
            }
            // A key of the head: either it has a placeholder, or the rest is not a document.
            ProblemKind::MissingKey if problem.pointer.is_empty() => continue,
            _ => {}
        }
        // The pointer of a missing key is that of the object.
        places.push((removable(value, &problem.pointer)?.to_owned(), problem));
    }
    // From the end, so that the indexes of earlier rows stay valid, and values before their row.
    places.sort_by(|a, b| order(&b.0, &a.0));
    places.dedup_by(|a, b| a.0 == b.0);
    let mut gone: HashSet<String> = HashSet::new();
    for (place, problem) in places {
        let pointer = original(kept, &place);
        let Some((parent, token)) = place.rsplit_once('/') else { continue };
        let key = token.replace("~1", "/").replace("~0", "~");
        let removed = match value.pointer_mut(parent) {
            Some(Value::Object(object)) => object.remove(&key),
            Some(Value::Array(rows)) => match key.parse::<usize>() {
                Ok(row) if row < rows.len() => {
                    let table = original(kept, parent);
                    kept.entry(table).or_insert_with(|| (0..rows.len()).collect()).remove(row);
                    Some(identity(rows.remove(row)))
                }
                _ => None,
            },
            _ => None,
        };
        let Some(removed) = removed else { continue };
        removed_count += 1;
        gone.insert(pointer.clone());
        let meant = problem.suggestion.clone().filter(|_| problem.kind == ProblemKind::UnknownKey);
        out.push(LeftOut { pointer, kind: problem.kind, meant, value: removed });
    }
    // Values that were removed with their row are not reported again.
    out.retain(|inner| {
        let mut above = inner.pointer.as_str();
        loop {
            match above.rfind('/') {
                Some(slash) => above = &above[..slash],
                None => return true,
            }
            if gone.contains(above) {
                return false;
            }
        }
    });
    Some(removed_count)
}

/// What identifies a row: its id, and the pipe that it names. Whole rows would need more memory
/// than the survey.
pub(super) fn identity(row: Value) -> Value {
    match row {
        Value::Object(mut row) => {
            row.retain(|key, value| matches!(key.as_str(), "id" | "pipe") && value.is_string());
            Value::Object(row)
        }
        value => value,
    }
}

/// The nearest removable ancestor of a problem: a key, or a row of a table.
fn removable<'p>(value: &Value, place: &'p str) -> Option<&'p str> {
    let mut place = place;
    loop {
        let (parent, _) = place.rsplit_once('/')?;
        match value.pointer(parent) {
            Some(Value::Object(_)) if value.pointer(place).is_some() => return Some(place),
            Some(Value::Array(_)) if is_table(parent) => return Some(place),
            _ => place = parent,
        }
    }
}

/// Whether the list at a pointer is a table: one of the document's, or the observations of a run.
fn is_table(list: &str) -> bool {
    let tokens: Vec<&str> = list.split('/').skip(1).collect();
    matches!(
        tokens.as_slice(),
        ["parties"
            | "equipment"
            | "structures"
            | "pipes"
            | "media"
            | "locates"
            | "ratings"
            | "runs"]
            | ["runs", _, "observations"]
    )
}

fn original(kept: &Kept, pointer: &str) -> String {
    let mut whole = String::new();
    for token in pointer.split('/').skip(1) {
        let row = kept.get(&whole).and_then(|rows| rows.get(token.parse::<usize>().ok()?));
        whole.push('/');
        match row {
            Some(row) => whole.push_str(&row.to_string()),
            None => whole.push_str(token),
        }
    }
    whole
}

/// Sorts pointers by the indexes of rows as numbers, not as text.
pub(super) fn order(a: &str, b: &str) -> std::cmp::Ordering {
    let key = |token: &str| token.parse().unwrap_or(usize::MAX);
    let tokens = |pointer| str::split(pointer, '/').skip(1);
    let (mut a, mut b) = (tokens(a), tokens(b));
    loop {
        let (one, other) = (a.next(), b.next());
        let (Some(first), Some(second)) = (one, other) else {
            return one.is_some().cmp(&other.is_some());
        };
        // Most tokens are equal: the same table, run and list.
        if first != second {
            let order = (key(first), first).cmp(&(key(second), second));
            if order.is_ne() {
                return order;
            }
        }
    }
}
