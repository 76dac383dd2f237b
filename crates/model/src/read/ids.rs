//! Ids that stand twice, watched while a document streams past. An observation's id is unique within its run, so
//! nothing has to be remembered of a run but its own id.

use rustc_hash::FxHashSet;

use super::error::{Problem, ProblemKind, ReadError};
use super::place::{Place, locate_all};
use crate::tables::{Document, Head, Run};
use crate::text::RunId;

/// The ids of a document made in memory, or by a serde reader of another form, that stand twice in their table.
#[must_use]
pub fn twice(document: &Document) -> Vec<Problem> {
    let mut ids = IdWatch::default();
    ids.head(&document.head);
    for run in &document.runs {
        ids.run(run);
    }
    ids.twice.into_iter().map(|(pointer, id)| problem(pointer, &id, Place::default())).collect()
}

fn problem(pointer: String, id: &str, place: Place) -> Problem {
    Problem {
        kind: ProblemKind::DuplicateId,
        line: place.line,
        column: place.column,
        message: format!("the id {id:?} stands twice in this table"),
        suggestion: None,
        pointer,
    }
}

#[derive(Default)]
pub(super) struct IdWatch {
    runs: FxHashSet<RunId>,
    count: usize,
    twice: Vec<(String, String)>,
}

impl IdWatch {
    pub(super) fn head(&mut self, head: &Head) {
        macro_rules! tables {
            ($($table:ident)+) => { $(self.table(stringify!($table), head.$table.iter().map(|row| row.id.as_str()));)+ };
        }
        tables!(parties equipment structures pipes media locates ratings);
    }

    pub(super) fn run(&mut self, run: &Run) {
        let index = self.count;
        self.count += 1;
        if !self.runs.insert(run.id.clone()) {
            self.twice.push((format!("/runs/{index}/id"), run.id.to_string()));
        }
        // Most recorders number their rows; ids in rising order cannot repeat and need no set.
        let ids = run.observations.iter().map(|row| row.id.as_str());
        let rising = ids.clone().zip(ids.clone().skip(1)).all(|(a, b)| (a.len(), a) < (b.len(), b));
        if !rising {
            self.table(&format!("runs/{index}/observations"), ids);
        }
    }

    fn table<'a>(&mut self, name: &str, ids: impl ExactSizeIterator<Item = &'a str>) {
        let mut seen = FxHashSet::with_capacity_and_hasher(ids.len(), rustc_hash::FxBuildHasher);
        for (index, id) in ids.enumerate() {
            if !seen.insert(id) {
                self.twice.push((format!("/{name}/{index}/id"), id.to_owned()));
            }
        }
    }

    pub(super) fn verdict(self, source: &[u8]) -> Result<(), ReadError> {
        if self.twice.is_empty() {
            return Ok(());
        }
        let places = locate_all(source, self.twice.iter().map(|(pointer, _)| pointer.as_str()));
        let problems = self.twice.into_iter().map(|(pointer, id)| {
            let place = places.get(&pointer);
            problem(pointer, &id, place)
        });
        let mut problems: Vec<Problem> = problems.collect();
        // The tables were looked at in the order of the format, which need not be that of the source.
        problems.sort_by_key(|problem| (problem.line, problem.column));
        Err(ReadError::Structure(problems))
    }
}

/// Ids that stand twice in a document that may be wrong otherwise: pointer and id of each later one.
#[cfg(feature = "diagnose")]
pub(super) fn twice_in(document: &serde_json::Value) -> Vec<(String, String)> {
    use serde_json::Value;
    let rows = |holder: &Value, table: &str| -> Vec<Option<String>> {
        let id = |row: &Value| row.get("id").and_then(Value::as_str).map(str::to_owned);
        holder.get(table).and_then(Value::as_array).map(|rows| rows.iter().map(id).collect()).unwrap_or_default()
    };
    let mut twice = Vec::new();
    let mut table = |name: &str, ids: Vec<Option<String>>| {
        let mut seen = FxHashSet::default();
        for (index, id) in ids.into_iter().enumerate() {
            if let Some(id) = id {
                if !seen.insert(id.clone()) {
                    twice.push((format!("/{name}/{index}/id"), id));
                }
            }
        }
    };
    for name in ["parties", "equipment", "structures", "pipes", "media", "locates", "ratings", "runs"] {
        table(name, rows(document, name));
    }
    for (index, run) in document.get("runs").and_then(Value::as_array).into_iter().flatten().enumerate() {
        table(&format!("runs/{index}/observations"), rows(run, "observations"));
    }
    twice
}
