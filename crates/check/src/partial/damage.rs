//! The parts of a document that could not be read, and which findings on the rest are reliable.

use std::collections::{BTreeSet, HashMap, HashSet};

use obvert_model::read::{LeftOut, ProblemKind, Readable, RunStub};
use obvert_model::shape::{self, Field};
use serde_json::Value;

use crate::evidence::{Evidence, OBSERVATIONS, is_document_table};
use crate::finding::Finding;
use crate::rule::Rule;
use crate::subject::Subject;

/// The parts that were left out, indexed for questions about rules and findings.
#[derive(Debug, Default)]
pub(super) struct Damage {
    /// Whether free texts and extensions count.
    texts: bool,
    /// Losses that affect every finding of a rule, in the order of the document, with the reason.
    losses: Vec<(Lost, String)>,
    known: BTreeSet<Lost>,
    /// Rows that lost a value.
    rows: HashSet<String>,
    /// Every value that was left out, by its row; an empty text for the values of the head.
    values: HashMap<String, Vec<String>>,
    /// Unknown columns, which may be misspelt, as pointers with `-` for the row number.
    columns: Vec<String>,
    /// The lost keys of runs, by the pointer of the run. Keys of observations begin with
    /// `observations.`.
    runs: HashMap<String, BTreeSet<String>>,
    /// The ids of those runs.
    run_ids: BTreeSet<String>,
    /// Pipes that lost a value, a run, or a part of a run.
    pipes: BTreeSet<String>,
    /// The values that pipes lost, by the pipe's id and the key.
    pipe_values: BTreeSet<(String, String)>,
    /// Ids of rows that were left out, by their table.
    ids: BTreeSet<(String, String)>,
    /// Tables and keys of which every row may have lost a value.
    doubted: BTreeSet<(String, String)>,
}

/// A loss that affects every finding of a rule.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Lost {
    /// A value of the head.
    Head(String),
    /// A row of a table, or the table.
    Row(String),
    /// A value in a row of a table.
    Value(String, String),
    /// A run of an unknown pipe.
    Run,
    /// An item of a list of an unknown observation.
    Item(String),
    /// A row of a table whose id is not known, or all of its rows.
    Unnamed(String),
}

impl Lost {
    /// Whether a rule may report a false finding because of this loss.
    fn stops(&self, rule: &Rule, evidence: &[Evidence<'_>]) -> bool {
        match self {
            Self::Unnamed(table) => rule.refers_to == Some(table.as_str()),
            Self::Head(key) => evidence.contains(&Evidence::Head(key)),
            Self::Row(table) => evidence.contains(&Evidence::Rows(table)),
            Self::Value(table, key) => {
                evidence.contains(&Evidence::Column(table, Some(key)))
                    || evidence.contains(&Evidence::Column(table, None))
            }
            Self::Run => evidence.contains(&Evidence::RunsOfPipe),
            Self::Item(key) => evidence.contains(&Evidence::Observation(key)),
        }
    }
}

impl Damage {
    /// The damage of a document. `texts` states whether lost free texts and extensions count.
    pub(super) fn of(readable: &Readable, texts: bool) -> Self {
        let mut damage = Self { texts, ..Self::default() };
        for out in &readable.left_out {
            damage.add(out, readable);
        }
        damage
    }

    /// Why a rule cannot be run; `None` if it can.
    pub(super) fn stops(&self, rule: &Rule, evidence: &[Evidence<'_>]) -> Option<&str> {
        self.losses.iter().find(|(lost, _)| lost.stops(rule, evidence)).map(|(_, why)| why.as_str())
    }

    /// Whether a finding is true whatever was left out. `path` is its path in the source.
    pub(super) fn confirms(
        &self,
        rule: &Rule,
        evidence: &[Evidence<'_>],
        path: &str,
        finding: &Finding,
    ) -> bool {
        let Subject { pipe, run, .. } = &finding.subject;
        let named = finding.params.get("id").and_then(Value::as_str).unwrap_or_default();
        if rule
            .refers_to
            .is_some_and(|table| self.ids.contains(&(table.to_owned(), named.to_owned())))
        {
            return false;
        }
        let row = row_of(path);
        let mut lost = self.values.get(row).into_iter().flatten();
        if self.rows.contains(row)
            || lost.any(|value| leads_into(path, value))
            || self.columns.iter().any(|column| leads_into_rows(path, column))
        {
            return false;
        }
        let unsure = pipe.as_ref().is_some_and(|pipe| self.pipes.contains(pipe))
            || run.as_ref().is_some_and(|run| self.run_ids.contains(run));
        let none = BTreeSet::new();
        let lost = self.runs.get(run_of(path)).unwrap_or(&none);
        let of_observations = |key: &String| key.starts_with("observations.");
        !evidence.iter().any(|evidence| match evidence {
            Evidence::Pipe | Evidence::RunsOfPipe => unsure,
            Evidence::ValueOfPipe(key) => {
                let value = |pipe: &String| (pipe.clone(), (*key).to_owned());
                pipe.as_ref().is_some_and(|pipe| self.pipe_values.contains(&value(pipe)))
            }
            Evidence::Run(Some(key)) => lost.contains(*key),
            Evidence::Run(None) => {
                lost.iter().any(|key| key != OBSERVATIONS && !of_observations(key))
            }
            Evidence::RowsOfRun => lost.contains(OBSERVATIONS),
            Evidence::ColumnOfRun(Some(key)) => lost.contains(&format!("{OBSERVATIONS}.{key}")),
            Evidence::ColumnOfRun(None) => lost.iter().any(of_observations),
            _ => false,
        })
    }

    fn add(&mut self, out: &LeftOut, readable: &Readable) {
        // An unknown column may be a misspelt one.
        if out.kind == ProblemKind::UnknownKey && out.meant.is_none() && out.pointer.contains("/-/")
        {
            if !out.pointer.starts_with("/-/") {
                self.columns.push(out.pointer.clone());
            }
            return;
        }
        let tokens: Vec<&str> = out.pointer.split('/').skip(1).collect();
        // `null` and an empty text mean that there is no value, so nothing was lost. For a table
        // that is not certain.
        let nothing = out.value.is_null() && out.kind == ProblemKind::NullValue || out.value == "";
        let table = matches!(tokens.as_slice(), ["runs", _, OBSERVATIONS])
            || tokens.len() == 1 && is_document_table(tokens[0]);
        if nothing && !table {
            return;
        }
        match tokens.as_slice() {
            [table, "-", below @ ..] => self.orphan(table, below, readable),
            [table] if is_document_table(table) => self.row(table, out, readable),
            [table, row] if is_document_table(table) && row.parse::<usize>().is_ok() => {
                self.row(table, out, readable)
            }
            ["runs", run, OBSERVATIONS] | ["runs", run, OBSERVATIONS, _] => {
                self.lose(Lost::Row(OBSERVATIONS.to_owned()), || was_left_out(out));
                self.record("runs", &format!("/runs/{run}"), OBSERVATIONS, readable);
            }
            ["runs", run, OBSERVATIONS, row, ..] => {
                let row = format!("/runs/{run}/{OBSERVATIONS}/{row}");
                if self.value(OBSERVATIONS, &row, out, readable) {
                    let key = format!("{OBSERVATIONS}.{}", key_of(out, &row));
                    self.record("runs", &format!("/runs/{run}"), &key, readable);
                }
            }
            [table, row, ..] if is_document_table(table) => {
                let row = format!("/{table}/{row}");
                if self.value(table, &row, out, readable) {
                    self.record(table, &row, key_of(out, &row), readable);
                }
            }
            _ => {
                self.values.entry(String::new()).or_default().push(out.pointer.clone());
                let key =
                    out.meant.as_deref().or_else(|| tokens.first().copied()).unwrap_or_default();
                self.lose(Lost::Head(key.to_owned()), || {
                    format!("{} could not be read", out.pointer)
                });
            }
        }
    }

    /// Adds a loss; the first one of a kind is the reason.
    fn lose(&mut self, what: Lost, why: impl FnOnce() -> String) {
        if !self.known.contains(&what) {
            self.known.insert(what.clone());
            self.losses.push((what, why()));
        }
    }

    /// A row of one of the document's tables is missing, or the table is.
    fn row(&mut self, table: &str, out: &LeftOut, readable: &Readable) {
        self.lose(Lost::Row(table.to_owned()), || was_left_out(out));
        let text = |key: &str| out.value.get(key).and_then(Value::as_str).map(str::to_owned);
        if table == "runs" {
            match text("pipe") {
                Some(pipe) => {
                    self.pipes.insert(pipe);
                }
                None => self.lose(Lost::Run, || was_left_out(out)),
            }
        }
        // If no row is left, even the one finding for all references would be false.
        match text("id").filter(|_| rows_left(table, readable) > 0) {
            Some(id) => {
                self.ids.insert((table.to_owned(), id));
            }
            None => self.lose(Lost::Unnamed(table.to_owned()), || was_left_out(out)),
        }
    }

    /// A value of a row is missing. Returns whether rules may depend on it.
    fn value(&mut self, table: &str, row: &str, out: &LeftOut, readable: &Readable) -> bool {
        match self.values.get_mut(row) {
            Some(values) => values.push(out.pointer.clone()),
            None => drop(self.values.insert(row.to_owned(), vec![out.pointer.clone()])),
        }
        // An unknown key does not have a value of the format, unless it is a misspelt field.
        if out.kind == ProblemKind::UnknownKey && out.meant.is_none() {
            return false;
        }
        let key = key_of(out, row);
        self.lose(Lost::Value(table.to_owned(), key.to_owned()), || was_left_out(out));
        if let Some(pipe) =
            Some(row).filter(|_| table == "pipes").and_then(|row| id_of(readable, row))
        {
            self.pipe_values.insert((pipe, key.to_owned()));
        }
        let counts = self.texts || !field_of(out).is_some_and(Field::is_free);
        if counts {
            self.rows.insert(row.to_owned());
        }
        counts
    }

    /// A row of one of the document's tables is damaged.
    fn record(&mut self, table: &str, row: &str, key: &str, readable: &Readable) {
        match table {
            "pipes" => self.pipes.extend(id_of(readable, row)),
            "runs" => {
                // Most rows of a damaged run have lost the same value.
                if self.runs.get(row).is_some_and(|keys| keys.contains(key)) {
                    return;
                }
                if let Some(run) = run_at(readable, row) {
                    self.pipes.insert(run.pipe.to_string());
                    self.run_ids.insert(run.id.to_string());
                }
                self.runs.entry(row.to_owned()).or_default().insert(key.to_owned());
            }
            _ => {}
        }
    }

    /// A row that belongs to an unknown row of a table is missing, so every row of the table may have
    /// lost it. `below` is its path within the row.
    fn orphan(&mut self, table: &str, below: &[&str], readable: &Readable) {
        let key = below.first().copied().unwrap_or_default();
        let of_observations = table == "runs" && key == OBSERVATIONS;
        let mut lost = key.to_owned();
        match below.get(2) {
            Some(list) if of_observations => {
                let why = || format!("a row of {list} that belongs to no observation was left out");
                self.lose(Lost::Item((*list).to_owned()), why);
                self.lose(Lost::Value(OBSERVATIONS.to_owned(), (*list).to_owned()), why);
                lost = format!("{OBSERVATIONS}.{list}");
            }
            _ if of_observations => {
                self.lose(Lost::Row(OBSERVATIONS.to_owned()), || {
                    "a row that belongs to no run was left out".into()
                });
            }
            _ => {
                self.lose(Lost::Value(table.to_owned(), key.to_owned()), || {
                    format!("a row of {key} that belongs to no row of {table} was left out")
                });
            }
        }
        if !self.doubted.insert((table.to_owned(), lost.clone())) {
            return;
        }
        for row in
            (0..rows_left(table, readable)).map(|row| readable.original(&format!("/{table}/{row}")))
        {
            self.record(table, &row, &lost, readable);
            if !of_observations {
                self.rows.insert(row);
            }
        }
    }
}

/// The key of a value that was left out of a row, with the right spelling.
fn key_of<'o>(out: &'o LeftOut, row: &str) -> &'o str {
    let written = out.pointer[row.len()..].split('/').nth(1).unwrap_or_default();
    match &out.meant {
        Some(meant) if out.kind == ProblemKind::UnknownKey => meant,
        _ => written,
    }
}

/// The field that a value belongs to. What is inside extensions belongs to them.
fn field_of(out: &LeftOut) -> Option<&'static Field> {
    let mut keys: Vec<&str> = out
        .pointer
        .split('/')
        .skip(1)
        .filter(|token| token.parse::<usize>().is_err() && *token != "-")
        .collect();
    if let (Some(last), Some(meant)) = (keys.last_mut(), &out.meant) {
        *last = meant;
    }
    let mut ends = (1..=keys.len()).rev();
    ends.find_map(|end| shape::field(&keys[..end]))
}

/// How many rows are left of a table.
fn rows_left(table: &str, readable: &Readable) -> usize {
    let head = &readable.head;
    match table {
        "parties" => head.parties.len(),
        "equipment" => head.equipment.len(),
        "structures" => head.structures.len(),
        "pipes" => head.pipes.len(),
        "media" => head.media.len(),
        "locates" => head.locates.len(),
        "ratings" => head.ratings.len(),
        "runs" => readable.runs.len(),
        _ => 0,
    }
}

/// Whether a path is that of a value, or of an object or list that contains it.
pub(super) fn leads_into(path: &str, value: &str) -> bool {
    value.strip_prefix(path).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

/// Whether a path is that of a row with a column, or of the column in a row. The column is a pointer
/// with `-` for row numbers.
fn leads_into_rows(path: &str, column: &str) -> bool {
    if path.split('/').count() + 1 < column.split('/').count() {
        return false;
    }
    let mut tokens = column.split('/');
    path.split('/').all(|token| {
        tokens.next().is_some_and(|of| {
            of == token || of == "-" && token.bytes().all(|byte| byte.is_ascii_digit())
        })
    })
}

/// The row that a path is in: an observation, a run or a row of another table; empty for the head.
fn row_of(path: &str) -> &str {
    let tokens: Vec<&str> = path.split('/').skip(1).take(4).collect();
    let depth = match tokens.as_slice() {
        ["runs", _, OBSERVATIONS, _] => 4,
        [table, _, ..] if is_document_table(table) => 2,
        _ => 0,
    };
    first_tokens(path, depth)
}

/// The run that a path is in; the whole path if it is in none.
fn run_of(path: &str) -> &str {
    if path.starts_with("/runs/") { first_tokens(path, 2) } else { path }
}

fn first_tokens(path: &str, tokens: usize) -> &str {
    path.match_indices('/')
        .nth(tokens)
        .map_or(if tokens == 0 { "" } else { path }, |(end, _)| &path[..end])
}

/// A run that was read, by its pointer in the source.
fn run_at<'r>(readable: &'r Readable, run: &str) -> Option<&'r RunStub> {
    let runs = &readable.runs;
    row_left(readable, "/runs", run, runs.len()).map(|index| &runs[index])
}

/// The id of a pipe that was read, by its pointer in the source.
fn id_of(readable: &Readable, pipe: &str) -> Option<String> {
    let pipes = &readable.head.pipes;
    row_left(readable, "/pipes", pipe, pipes.len()).map(|index| pipes[index].id.to_string())
}

/// The index of a row among those that were read, by its pointer in the source.
fn row_left(readable: &Readable, table: &str, row: &str, rows: usize) -> Option<usize> {
    let number = row.rsplit('/').next()?.parse().ok()?;
    readable.index_of(table, number, rows)
}

/// The reason of a loss.
fn was_left_out(out: &LeftOut) -> String {
    format!("{} was left out", out.pointer)
}

#[cfg(test)]
mod tests {
    use obvert_model::read::Diagnosis;

    use super::*;
    use crate::catalogue::MINIMAL;
    use crate::evidence::tables;

    #[test]
    fn the_rows_of_every_table_are_counted() {
        let document: Value = serde_json::from_str(MINIMAL).unwrap();
        let readable =
            Diagnosis { problems: Vec::new(), value: document.clone() }.into_remains().unwrap();
        let (readable, _) = readable.into_parts();
        for table in tables() {
            assert_eq!(
                rows_left(table, &readable),
                document[table].as_array().unwrap().len(),
                "{table}"
            );
        }
    }
}
