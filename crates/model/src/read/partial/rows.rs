//! Diagnoses rows one by one: a row that is not sound is alone in a document of its own, whose head
//! has no problems.

use std::collections::hash_map::Entry;

use rustc_hash::FxHashMap;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use super::RowDamage;
use super::remove::rest_of;
use super::slices::{Slices, typed};
use crate::edit::Edit;
use crate::read::error::{Problem, ProblemKind, ReadError};
use crate::read::remains::{Kept, LeftOut, remains};
use crate::read::span::{Lines, locate_all};
use crate::read::verify::{Advice, Found, verify};
use crate::read::{any, diagnose, huge, ids, json, stopped};
use crate::tables::{
    Document, Equipment, Head, Locate, Media, Observation, Party, Pipe, Rating, Structure,
};

/// How the rows of a table are read.
pub(super) struct Table<T: 'static> {
    /// Its path: `runs.observations`.
    path: &'static str,
    /// The pointer of a row that is alone in its document.
    pointer: &'static str,
    /// The document with such a row.
    document: fn(Value) -> Value,
    id: fn(&T) -> &str,
    /// Takes the row out of its document.
    take: fn(Document) -> Option<T>,
}

pub(super) const OBSERVATIONS: Table<Observation> = Table {
    path: "runs.observations",
    pointer: "/runs/0/observations/0",
    document: |row| {
        let run = json!({ "id": "r", "pipe": "p", "direction": "downstream" });
        let mut document = document_with("runs", run);
        document["runs"][0]["observations"] = Value::Array(vec![row]);
        document
    },
    id: |row| row.id.as_str(),
    take: |mut document| document.runs.pop().and_then(|mut run| run.observations.pop()),
};

macro_rules! head_tables {
    ($($table:ident: $row:ident),+) => {
        pub(super) const HEAD_TABLES: &[&str] = &[$(stringify!($table)),+];

        /// Reads a table of the head.
        pub(super) fn read_table<'s>(
            name: &str,
            rows: &mut Rows<'s, '_>,
            slices: Slices<'s>,
            mut head: Option<&mut Head>,
        ) -> Result<(), ReadError> {
            match name {
                $(stringify!($table) => {
                    let table = Table::<$row> {
                        path: stringify!($table),
                        pointer: concat!("/", stringify!($table), "/0"),
                        document: |row| document_with(stringify!($table), row),
                        id: |row| row.id.as_str(),
                        take: |mut document| document.head.$table.pop(),
                    };
                    let target = concat!("/", stringify!($table));
                    rows.read(slices, &table, target, |row| {
                        if let Some(head) = &mut head {
                            head.$table.push(row);
                        }
                    })
                })+
                _ => Ok(()),
            }
        }
    };
}

head_tables!(
    parties: Party, equipment: Equipment, structures: Structure, pipes: Pipe, media: Media,
    locates: Locate, ratings: Rating
);

/// Reads rows, and diagnoses those that are not sound.
pub(super) struct Rows<'s, 'a> {
    /// The source.
    whole: &'s str,
    /// Where the text with the rows begins in it.
    begin: usize,
    lines: Lines<'s>,
    advice: &'a mut Advice,
    pub(super) damage: Vec<RowDamage<'s>>,
    pub(super) left_out: Vec<LeftOut>,
    pub(super) kept: Kept,
}

impl<'s, 'a> Rows<'s, 'a> {
    pub(super) fn new(
        whole: &'s str,
        begin: usize,
        lines: &Lines<'s>,
        advice: &'a mut Advice,
    ) -> Self {
        Self {
            whole,
            begin,
            lines: lines.clone(),
            advice,
            damage: Vec::new(),
            left_out: Vec::new(),
            kept: Kept::new(),
        }
    }

    /// Reads the rows of one table. `target` is its pointer in the document.
    pub(super) fn read<T: DeserializeOwned>(
        &mut self,
        mut slices: Slices<'s>,
        table: &Table<T>,
        target: &str,
        mut push: impl FnMut(T),
    ) -> Result<(), ReadError> {
        let mut first: FxHashMap<String, usize> = FxHashMap::default();
        let mut readable = Vec::new();
        for (index, at, text) in slices.by_ref() {
            let begin = self.begin + at;
            if json::is_too_deep(text) {
                return Err(stopped::too_deep(self.whole, begin));
            }
            let read = typed::<T>(text);
            if let Ok(row) = &read
                && let Entry::Vacant(place) = first.entry((table.id)(row).to_owned())
            {
                place.insert(index);
            }
            let row = match read {
                Ok(row) if first.get((table.id)(&row)) == Some(&index) => Some(row),
                read => {
                    let row = (index, begin, text);
                    match self.verify(table, target, row, &read, &mut first) {
                        Some(Verdict::Sound) => read.ok(),
                        Some(Verdict::Rest(rest)) => rest,
                        None => self.diagnose(table, target, row, read.err(), &mut first)?,
                    }
                }
            };
            if let Some(row) = row {
                push(row);
                readable.push(index);
            }
        }
        if readable.len() < slices.count {
            self.kept.insert(target.to_owned(), readable);
        }
        Ok(())
    }

    /// Verifies one row as text. `None` if it has to be diagnosed.
    fn verify<T: DeserializeOwned>(
        &mut self,
        table: &Table<T>,
        target: &str,
        (index, begin, text): (usize, usize, &'s str),
        read: &Result<T, serde_json::Error>,
        first: &mut FxHashMap<String, usize>,
    ) -> Option<Verdict<T>> {
        let pointer = format!("{target}/{index}");
        let mut verified = verify(text, table.path, &pointer, None, self.advice)?;
        if let (true, Err(error)) = (verified.found.is_empty(), read) {
            verified.found.push(untyped(&pointer, error));
        }
        let verdict = match read {
            Ok(_) => Verdict::Sound,
            Err(_) => {
                let row = (table.path, pointer.as_str());
                let rest = rest_of::<T>(text, &verified, row, None, self.advice)?;
                self.left_out.extend(rest.left_out);
                Verdict::Rest(rest.row)
            }
        };
        if let Some((id, offset)) = verified.id {
            let earlier = *first.entry(id.clone()).or_insert(index);
            if earlier != index {
                let problem = ids::duplicate_row(&pointer, &id, format!("{target}/{earlier}"));
                verified.found.push(Found { problem, offset, member: None });
            }
        }
        let problems = placed(verified.found, begin, &mut self.lines);
        self.damage.push(RowDamage { problems, text });
        Some(verdict)
    }

    /// Diagnoses one row; what is readable of it.
    fn diagnose<T>(
        &mut self,
        table: &Table<T>,
        target: &str,
        (index, begin, text): (usize, usize, &'s str),
        error: Option<serde_json::Error>,
        first: &mut FxHashMap<String, usize>,
    ) -> Result<Option<T>, ReadError> {
        let (tame, tokens) = huge::replace(text.as_bytes());
        let (value, duplicates) = any::noting_duplicates(&tame)
            .map_err(|error| stopped::syntax(self.whole.as_bytes(), begin, &error))?;
        let row = format!("{target}/{index}");
        let pointer = table.pointer;
        let mut alone = Alone { pointer, target: &row, document: (table.document)(value) };
        let mut problems = alone.problems(duplicates);
        let id = alone.document.pointer(pointer).and_then(|row| text_of(row, "id"));
        if let Some(id) = id {
            let earlier = *first.entry(id.clone()).or_insert(index);
            if earlier != index {
                problems.push(ids::duplicate_row(pointer, &id, format!("{target}/{earlier}")));
            }
        }
        if let Some(error) = error.filter(|_| problems.is_empty()) {
            problems.push(Problem::new(ProblemKind::WrongType, pointer, error.to_string()));
        }
        alone.place(&mut problems, text, &tokens, self.lines.advance(begin));
        let (read, left_out, kept) = alone.readable(&problems, table.take);
        self.left_out.extend(left_out);
        self.kept.extend(kept);
        problems.iter_mut().for_each(|problem| renumber(problem, pointer, &row));
        self.damage.push(RowDamage { problems, text });
        Ok(read)
    }
}

/// What was found out about a row.
enum Verdict<T> {
    /// It is readable as it is: only its id is a duplicate.
    Sound,
    /// What is readable of it.
    Rest(Option<T>),
}

/// The problem of a row in which the schema finds none. The typed reader decides what is valid.
pub(super) fn untyped(pointer: &str, error: &serde_json::Error) -> Found {
    let problem = Problem::new(ProblemKind::WrongType, pointer, error.to_string());
    Found { problem, offset: 0, member: None }
}

/// Problems with their lines and columns. `begin` is where the row begins in the source.
pub(super) fn placed(found: Vec<Found>, begin: usize, lines: &mut Lines<'_>) -> Vec<Problem> {
    let mut ends: Vec<usize> = found.iter().map(|found| found.offset).collect();
    ends.sort_unstable();
    let place = |offset| (offset, lines.advance(begin + offset));
    let places: Vec<(usize, (usize, usize))> = ends.into_iter().map(place).collect();
    let at = |offset| places.iter().find(|(end, _)| *end == offset).map(|(_, at)| *at);
    let placed = |Found { problem, offset, .. }| {
        let (line, column) = at(offset).unwrap_or_default();
        Problem { line, column, ..problem }
    };
    found.into_iter().map(placed).collect()
}

/// A row that is alone in its document.
pub(super) struct Alone<'p> {
    /// Its pointer there.
    pub(super) pointer: &'p str,
    /// Its pointer in the source.
    pub(super) target: &'p str,
    pub(super) document: Value,
}

impl Alone<'_> {
    pub(super) fn problems(&self, duplicates: Vec<String>) -> Vec<Problem> {
        diagnose::problems_of(&self.document, duplicates, self.pointer)
    }

    /// Gives the problems their locations in the source. `base` is the location of the row.
    pub(super) fn place(
        &mut self,
        problems: &mut [Problem],
        text: &str,
        tokens: &FxHashMap<usize, String>,
        base: (usize, usize),
    ) {
        let length = self.pointer.len();
        problems.iter_mut().for_each(|problem| drop(problem.pointer.drain(..length)));
        let pointers = problems.iter().map(|problem| problem.pointer.as_str());
        let places = locate_all(text.as_bytes(), pointers);
        diagnose::place(problems, &places, tokens, base);
        problems.iter_mut().for_each(|problem| problem.pointer.insert_str(0, self.pointer));
    }

    /// What is readable of the row, what was left out, and the remaining rows of its lists.
    pub(super) fn readable<T>(
        self,
        problems: &[Problem],
        take: impl FnOnce(Document) -> Option<T>,
    ) -> (Option<T>, Vec<LeftOut>, Kept) {
        let Self { pointer, target, document } = self;
        let kind = problems.first().map_or(ProblemKind::WrongType, |problem| problem.kind);
        let Some(remains) = remains(document, problems) else {
            let left_out =
                LeftOut { pointer: target.to_owned(), kind, meant: None, value: Value::Null };
            return (None, vec![left_out], Kept::new());
        };
        let (document, left_out, kept) = remains.into_all();
        let left_out = left_out
            .into_iter()
            .map(|out| LeftOut { pointer: renumbered(&out.pointer, pointer, target), ..out });
        let holder = pointer.rsplit_once('/').map_or("", |(holder, _)| holder);
        let kept = kept
            .into_iter()
            .filter(|(list, _)| list.len() > holder.len())
            .map(|(list, rows)| (renumbered(&list, pointer, target), rows));
        (take(document), left_out.collect(), kept.collect())
    }
}

/// The pointer of a run that is alone in its document.
pub(super) const RUN: &str = "/runs/0";

pub(super) fn text_of(row: &Value, key: &str) -> Option<String> {
    row.get(key)?.as_str().map(str::to_owned)
}

/// A document with one row, and a head that has no problems.
pub(super) fn document_with(table: &str, row: Value) -> Value {
    let mut document = json!({
        "obvert": crate::versions::CURRENT,
        "id": "d",
        "issued": "1970-01-01T00:00:00Z",
        "units": { "length": "m", "section": "mm" },
        "coding": { "list": "l", "version": "1" },
    });
    document[table] = Value::Array(vec![row]);
    document
}

/// Gives a problem of a row that is alone in its document the place of the row in the source.
pub(super) fn renumber(problem: &mut Problem, alone: &str, target: &str) {
    problem.pointer = renumbered(&problem.pointer, alone, target);
    if let Some(other) = problem.other.as_mut().filter(|other| other.len() > alone.len()) {
        *other = renumbered(other, alone, target);
    }
    for edit in problem.fix.iter_mut().flat_map(|fix| &mut fix.edits) {
        match edit {
            Edit::Add { path, .. } | Edit::Remove { path } | Edit::Replace { path, .. } => {
                *path = renumbered(path, alone, target);
            }
            Edit::Move { from, path } => {
                *from = renumbered(from, alone, target);
                *path = renumbered(path, alone, target);
            }
        }
    }
}

fn renumbered(pointer: &str, alone: &str, target: &str) -> String {
    match pointer.strip_prefix(alone) {
        Some(inside) if inside.is_empty() || inside.starts_with('/') => format!("{target}{inside}"),
        _ => pointer.to_owned(),
    }
}
