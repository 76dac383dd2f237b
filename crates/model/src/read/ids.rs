//! Finds duplicate ids while a document is read run by run. An observation's id is unique within
//! its run, so only the ids of runs have to be kept.

use std::collections::hash_map::Entry;

use rustc_hash::{FxHashMap, FxHashSet};

use super::error::{Problem, ProblemKind, ReadError};
use super::span::{Span, locate_all};
use crate::tables::{Document, Head, Run};
use crate::text::RunId;

/// The duplicate ids of a document that was made in memory or read from another format.
#[must_use]
pub fn duplicate_ids(document: &Document) -> Vec<Problem> {
    let mut ids = IdWatch::default();
    ids.head(&document.head);
    for run in &document.runs {
        ids.run(run);
    }
    ids.into_problems()
}

/// A duplicate id.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Duplicate {
    /// Pointer to the later one.
    pub(super) pointer: String,
    id: String,
    /// Pointer to the row that has it first, if that was searched for.
    first: Option<String>,
}

impl Duplicate {
    pub(super) fn problem(self, place: Span) -> Problem {
        let id = self.id;
        let message = format!("the id {id:?} is a duplicate in this table");
        Problem {
            line: place.line,
            column: place.column,
            other: self.first,
            ..Problem::new(ProblemKind::DuplicateId, self.pointer, message)
        }
    }
}

/// Finds duplicate ids while a document is read run by run, for readers of other formats.
/// [`Reader`](super::Reader) does this itself.
///
/// ```
/// use obvert_model::{read, tables::Run};
/// let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},"coding":{"list":"obvert-terms","version":"1"}}"#;
/// let run: Run = serde_json::from_str(r#"{"id":"R1","pipe":"L-1","direction":"downstream"}"#)?;
/// let mut ids = read::IdWatch::default();
/// ids.head(&read::document(source)?.head);
/// ids.run(&run);
/// assert!(!ids.has_duplicates());
/// ids.run(&run);
/// assert!(ids.has_duplicates());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Default)]
pub struct IdWatch {
    runs: FxHashMap<RunId, u32>,
    count: usize,
    duplicates: Vec<Duplicate>,
}

impl IdWatch {
    /// Whether any id has been a duplicate so far.
    #[must_use]
    pub fn has_duplicates(&self) -> bool {
        !self.duplicates.is_empty()
    }

    /// Adds the tables of a head.
    pub fn head(&mut self, head: &Head) {
        macro_rules! tables {
            ($($table:ident)+) => { $(self.table(stringify!($table), head.$table.iter().map(|row| row.id.as_str()));)+ };
        }
        tables!(parties equipment structures pipes media locates ratings);
    }

    /// Adds the next run and its observations.
    pub fn run(&mut self, run: &Run) {
        self.run_at(self.count, run);
    }

    /// Adds a run and its observations by the index of the run in its document, for runs that are
    /// read out of order.
    pub fn run_at(&mut self, index: usize, run: &Run) {
        self.count = index + 1;
        self.run_id(run.id.clone(), u32::try_from(index).unwrap_or(u32::MAX));
        // Most recorders number their rows. Ids in rising order cannot repeat and need no set.
        let ids = run.observations.iter().map(|row| row.id.as_str());
        let rising = ids.clone().zip(ids.clone().skip(1)).all(|(a, b)| (a.len(), a) < (b.len(), b));
        if !rising {
            self.table(&format!("runs/{index}/observations"), ids);
        }
    }

    /// Adds the ids of another watch of the same document, for runs that were read on another
    /// thread.
    pub fn merge(&mut self, other: Self) {
        for (id, index) in other.runs {
            self.run_id(id, index);
        }
        self.duplicates.extend(other.duplicates);
        self.count = self.count.max(other.count);
    }

    fn run_id(&mut self, id: RunId, index: u32) {
        match self.runs.entry(id) {
            Entry::Occupied(mut first) => {
                let (earlier, later) = (index.min(*first.get()), index.max(*first.get()));
                first.insert(earlier);
                // The first run with the id is known after the last run.
                let id = first.key().to_string();
                self.duplicates.push(Duplicate {
                    pointer: format!("/runs/{later}/id"),
                    id,
                    first: None,
                });
            }
            Entry::Vacant(place) => {
                place.insert(index);
            }
        }
    }

    /// The duplicate ids, as problems without locations.
    pub(crate) fn into_problems(self) -> Vec<Problem> {
        self.problems(|_| Span::default())
    }

    /// The duplicate ids, as problems; `place` gives the location of a pointer.
    fn problems(self, place: impl Fn(&str) -> Span) -> Vec<Problem> {
        let first_run = |duplicate: &Duplicate| {
            let is_run = duplicate.pointer.starts_with("/runs/")
                && duplicate.pointer.matches('/').count() == 3;
            is_run
                .then(|| self.runs.get(duplicate.id.as_str()))
                .flatten()
                .map(|first| format!("/runs/{first}"))
        };
        let problem = |duplicate: Duplicate| {
            let first = duplicate.first.clone().or_else(|| first_run(&duplicate));
            let place = place(&duplicate.pointer);
            Duplicate { first, ..duplicate }.problem(place)
        };
        self.duplicates.into_iter().map(problem).collect()
    }

    fn table<'a>(&mut self, name: &str, ids: impl ExactSizeIterator<Item = &'a str> + Clone) {
        /// For how many duplicates the first row is searched: a table of duplicates only would take
        /// quadratic time.
        const SEARCHED: usize = 100;
        let mut seen = FxHashSet::with_capacity_and_hasher(ids.len(), rustc_hash::FxBuildHasher);
        for (index, id) in ids.clone().enumerate() {
            if !seen.insert(id) {
                let first = (self.duplicates.len() < SEARCHED)
                    .then(|| ids.clone().position(|other| other == id))
                    .flatten();
                let first = first.map(|first| format!("/{name}/{first}"));
                self.duplicates.push(Duplicate {
                    pointer: format!("/{name}/{index}/id"),
                    id: id.to_owned(),
                    first,
                });
            }
        }
    }

    pub(super) fn verdict(self, source: &[u8]) -> Result<(), ReadError> {
        if self.duplicates.is_empty() {
            return Ok(());
        }
        let places =
            locate_all(source, self.duplicates.iter().map(|duplicate| duplicate.pointer.as_str()));
        let mut problems = self.problems(|pointer| places.get(pointer));
        // The tables were added in the order of the format, which may differ from the source.
        problems.sort_by_key(|problem| (problem.line, problem.column));
        Err(ReadError::Structure(problems))
    }
}

/// The problem of a row whose id an earlier row has.
#[cfg(feature = "diagnose")]
pub(super) fn duplicate_row(row: &str, id: &str, first: String) -> Problem {
    Duplicate { pointer: format!("{row}/id"), id: id.to_owned(), first: Some(first) }
        .problem(Span::default())
}

/// The duplicate ids of a document that may be invalid otherwise.
#[cfg(feature = "diagnose")]
pub(super) fn duplicates_in(document: &serde_json::Value) -> Vec<Duplicate> {
    use serde_json::Value;
    let rows = |holder: &Value, table: &str| -> Vec<Option<String>> {
        let id = |row: &Value| row.get("id").and_then(Value::as_str).map(str::to_owned);
        holder
            .get(table)
            .and_then(Value::as_array)
            .map(|rows| rows.iter().map(id).collect())
            .unwrap_or_default()
    };
    let mut duplicates = Vec::new();
    let mut table = |name: &str, ids: Vec<Option<String>>| {
        let mut seen: FxHashMap<String, usize> = FxHashMap::default();
        for (index, id) in ids.into_iter().enumerate() {
            let Some(id) = id else { continue };
            match seen.get(&id) {
                Some(first) => {
                    let first = Some(format!("/{name}/{first}"));
                    duplicates.push(Duplicate {
                        pointer: format!("/{name}/{index}/id"),
                        id,
                        first,
                    });
                }
                None => {
                    seen.insert(id, index);
                }
            }
        }
    };
    for name in
        ["parties", "equipment", "structures", "pipes", "media", "locates", "ratings", "runs"]
    {
        table(name, rows(document, name));
    }
    for (index, run) in
        document.get("runs").and_then(Value::as_array).into_iter().flatten().enumerate()
    {
        table(&format!("runs/{index}/observations"), rows(run, "observations"));
    }
    duplicates
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_repeated_id_names_the_row_that_has_it_first() {
        let mut ids = IdWatch::default();
        ids.table("pipes", ["A", "B", "A"].into_iter());
        let problem = ids.duplicates.remove(0).problem(Span::default());
        assert_eq!(problem.pointer, "/pipes/2/id");
        assert_eq!(problem.text(), r#"the id "A" is a duplicate in this table, first in /pipes/0"#);
    }
}
