//! What is readable of a document that has structural problems: what is wrong is taken out, the
//! least that can be, and the remainder is a document. A checker can then say what it has to say of
//! the rest, instead of nothing at all for one bad word.
//!
//! A value that cannot be read goes with its key, where the key may be missing; where it may not,
//! the row goes that it stands in. Of a list that is no table, such as the corners of a path, the
//! whole list goes: what remained would mean something else. Rows that go leave those behind them
//! with other numbers, so [`Remains::original`] leads back.

use std::collections::{BTreeMap, HashSet};

use serde::Deserialize;
use serde_json::Value;

use super::diagnose::value_problems;
use super::error::{Problem, ProblemKind};
use crate::tables::Document;

/// What was taken out of a document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// Where it stands in the source, as a JSON Pointer (RFC 6901).
    pub pointer: String,
    /// What was wrong with it, or with what stands in it.
    pub kind: ProblemKind,
    /// The key that was probably meant, for a key that the format does not have.
    pub meant: Option<String>,
    /// The value.
    pub value: Value,
}

/// The readable part of a document.
#[derive(Clone, Debug)]
pub struct Remains {
    /// It, as a document.
    pub document: Document,
    /// What was taken out, in the order of the source.
    pub left_out: Vec<LeftOut>,
    kept: Kept,
}

/// The rows that are left of every table that lost one: for the table's pointer in the source,
/// their numbers there.
type Kept = BTreeMap<String, Vec<usize>>;

/// What stands in for a value of the head that must be there and that few rules ask for, so that
/// all others can be run.
const STAND_INS: [(&str, &str); 2] =
    [("id", "urn:uuid:00000000-0000-0000-0000-000000000000"), ("issued", "1970-01-01T00:00:00Z")];

/// Rounds of taking out before it is given up: a value, what holds it, its row, and once more for a
/// slip.
const ROUNDS: usize = 6;

/// The readable part of a value that has structural problems; `None` if there is none, as when the
/// units cannot be read.
pub(super) fn remains(mut value: Value, problems: Vec<Problem>) -> Option<Remains> {
    let (mut left_out, mut kept) = (Vec::new(), Kept::new());
    let mut found = problems;
    for _ in 0..ROUNDS {
        let taken = take_out(&mut value, &found, &mut left_out, &mut kept)?
            + stand_in(&mut value, &mut left_out);
        if let Ok(document) = Document::deserialize(&value) {
            left_out.sort_by(|a: &LeftOut, b: &LeftOut| order(&a.pointer).cmp(&order(&b.pointer)));
            return Some(Remains { document, left_out, kept });
        }
        if taken == 0 {
            return None;
        }
        found = value_problems(&value);
    }
    None
}

impl Remains {
    /// Where a place of the remainder stands in the source.
    #[must_use]
    pub fn original(&self, pointer: &str) -> String {
        original(&self.kept, pointer)
    }

    /// Whether every place of the remainder is the same place in the source, since no row was taken
    /// out.
    #[must_use]
    pub fn in_place(&self) -> bool {
        self.kept.is_empty()
    }
}

/// Puts in what stands in for an id or a date of the document that could not be read.
fn stand_in(value: &mut Value, out: &mut Vec<LeftOut>) -> usize {
    let Some(head) = value.as_object_mut() else { return 0 };
    let mut inserted = 0;
    for (key, text) in
        STAND_INS.iter().filter(|(key, _)| !head.contains_key(*key)).collect::<Vec<_>>()
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

/// Takes out what every problem is about, and says how much that was. `None` where it would be the
/// document.
fn take_out(
    value: &mut Value,
    problems: &[Problem],
    out: &mut Vec<LeftOut>,
    kept: &mut Kept,
) -> Option<usize> {
    let mut taken = 0;
    let mut places: Vec<(String, &Problem)> = Vec::new();
    for problem in problems {
        match problem.kind {
            // Of a row that stands twice one is enough.
            ProblemKind::DuplicateId | ProblemKind::DuplicateRow => continue,
            // It never came into the value.
            ProblemKind::OrphanRow => {
                let (pointer, kind) = (problem.pointer.clone(), problem.kind);
                out.push(LeftOut { pointer, kind, meant: None, value: Value::Null });
                continue;
            }
            // Nor did what other forms have beside the format's own, and passed over: an element, a
            // column, a table.
            ProblemKind::UnknownKey if value.pointer(&problem.pointer).is_none() => {
                let (pointer, kind, meant) =
                    (problem.pointer.clone(), problem.kind, problem.suggestion.clone());
                out.push(LeftOut { pointer, kind, meant, value: Value::Null });
                continue;
            }
            // A key of the head: either something stands in for it, or the rest is no document.
            ProblemKind::MissingKey if problem.pointer.is_empty() => continue,
            _ => {}
        }
        // That of a missing key is the object that lacks it.
        places.push((removable(value, &problem.pointer)?.to_owned(), problem));
    }
    // From the end, so that the numbers of rows before one that goes still hold, and what stands in
    // a row before the row.
    places.sort_by(|a, b| order(&b.0).cmp(&order(&a.0)));
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
                    Some(rows.remove(row))
                }
                _ => None,
            },
            _ => None,
        };
        let Some(removed) = removed else { continue };
        taken += 1;
        gone.insert(pointer.clone());
        let meant = problem.suggestion.clone().filter(|_| problem.kind == ProblemKind::UnknownKey);
        out.push(LeftOut { pointer, kind: problem.kind, meant, value: removed });
    }
    // What went with its row is not to be told of twice.
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
    Some(taken)
}

/// The nearest place from a problem upwards that can be taken out: a key, or a row of a table.
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

/// Sorts pointers as the source has them as far as rows go: by number, not by digit.
fn order(pointer: &str) -> Vec<(usize, &str)> {
    pointer.split('/').skip(1).map(|token| (token.parse().unwrap_or(usize::MAX), token)).collect()
}
