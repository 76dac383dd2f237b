//! Reads what is readable of a document with structural problems, run by run, so that a document
//! with one bad word costs little more than one without.
//!
//! A run that the typed reader accepts has no problems. Any other run is diagnosed by itself, in a
//! document of its own with a head that has no problems.

use std::collections::hash_map::Entry;

use rustc_hash::FxHashMap;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use super::error::{Problem, ProblemKind, ReadError};
use super::ids::{self, IdWatch};
use super::remains::{Kept, LeftOut, Readable, RunStub, remains};
use super::span::{Lines, locate_all};
use super::{any, diagnose, huge, json, scan, stopped};
use crate::edit::Edit;
use crate::tables::{
    Document, Equipment, Locate, Media, Observation, Party, Pipe, Rating, Run, Structure,
};

/// Reads a document with structural problems, run by run: every problem, and what is readable.
///
/// ```
/// # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
/// # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"},
/// # {"id":"R2","pipe":"L-1","direction":"up"}]}"#;
/// let mut reader = obvert_model::read::PartialReader::new(source)?.expect("an object");
/// let first = reader.next_run()?.expect("a run");
/// assert!(first.run.is_some() && first.damage.is_empty());
/// let second = reader.next_run()?.expect("a run");
/// // A run requires a direction.
/// assert!(second.run.is_none());
/// assert_eq!(second.damage[0].problems[0].pointer, "/runs/1/direction");
/// let readable = reader.into_readable().expect("a head");
/// assert_eq!((readable.runs.len(), readable.original("/runs/0").as_str()), (1, "/runs/0"));
/// # Ok::<(), obvert_model::read::ReadError>(())
/// ```
#[derive(Debug)]
pub struct PartialReader<'s> {
    slices: Slices<'s>,
    damage: Vec<RowDamage>,
    /// What is readable so far; `None` if the head is not.
    readable: Option<Readable>,
    /// The first run with each id.
    first: FxHashMap<String, usize>,
    /// The original index of each readable run.
    rows: Vec<usize>,
    lines: Lines<'s>,
}

/// A run of a document with structural problems.
#[derive(Debug)]
pub struct PartialRun {
    /// Its number in the source, from 0.
    pub index: usize,
    /// What is readable of it.
    pub run: Option<Run>,
    /// Its id, if that is a text.
    pub id: Option<String>,
    /// The pipe that it went through, if that is a text.
    pub pipe: Option<String>,
    /// What is wrong with it and with its observations.
    pub damage: Vec<RowDamage>,
}

/// The structural problems of a row, or of the head without its tables.
#[derive(Debug)]
pub struct RowDamage {
    /// The problems, with locations in the source.
    pub problems: Vec<Problem>,
    /// The row as a value: a row of a table, an observation, or a run with its observations.
    pub value: Value,
}

impl<'s> PartialReader<'s> {
    /// Reads the head. `None` if the document has to be diagnosed as a whole, because it is not an
    /// object with one list of runs.
    ///
    /// # Errors
    /// If the source is not JSON.
    pub fn new(source: &'s [u8]) -> Result<Option<Self>, ReadError> {
        let source = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
        let Ok(text) = std::str::from_utf8(source) else { return Err(stopped::not_text(source)) };
        if let Some(error) = diagnose::not_text(source) {
            return Err(error);
        }
        let start = match Head::sound(text) {
            Some(start) => start,
            None => match Head::new(text)? {
                Some(start) => start,
                None => return Ok(None),
            },
        };
        Ok(Some(Self {
            slices: Slices { text, at: start.runs, count: 0 },
            damage: start.damage,
            readable: start.readable,
            first: FxHashMap::default(),
            rows: Vec::new(),
            lines: Lines::new(source),
        }))
    }

    /// What is wrong with the head and with the rows of its tables.
    #[must_use]
    pub fn head_damage(&self) -> &[RowDamage] {
        &self.damage
    }

    /// The next run; `None` after the last.
    ///
    /// # Errors
    /// If it is nested too deeply.
    pub fn next_run(&mut self) -> Result<Option<PartialRun>, ReadError> {
        let Some((index, begin, text)) = self.slices.next() else { return Ok(None) };
        if json::is_too_deep(text) {
            return Err(stopped::too_deep(self.slices.text, begin));
        }
        let read = typed::<Run>(text);
        let sound = read.as_ref().is_ok_and(|run| {
            let mut ids = IdWatch::default();
            ids.run(run);
            !ids.has_duplicates() && !self.first.contains_key(run.id.as_str())
        });
        let found = match read {
            Ok(run) if sound => {
                let (id, pipe) = (run.id.to_string(), run.pipe.to_string());
                self.first.insert(id.clone(), index);
                let (id, pipe) = (Some(id), Some(pipe));
                PartialRun { index, run: Some(run), id, pipe, damage: Vec::new() }
            }
            read => match self.by_rows(index, begin, text)? {
                Some(found) => found,
                None => self.in_one_piece(index, begin, text, read.err())?,
            },
        };
        if let (Some(run), Some(readable)) = (&found.run, &mut self.readable) {
            readable.runs.push(RunStub { id: run.id.clone(), pipe: run.pipe.clone() });
            self.rows.push(index);
        }
        Ok(Some(found))
    }

    /// What is readable, after the last run; `None` if it is not a document, for example if the
    /// units are invalid.
    #[must_use]
    pub fn into_readable(self) -> Option<Readable> {
        let mut readable = self.readable?;
        if self.rows.len() < self.slices.count {
            readable.kept.insert("/runs".to_owned(), self.rows);
        }
        readable.sort();
        Some(readable)
    }

    /// Diagnoses a run without its observations, and each observation that is not sound by itself.
    /// `None` if the observations are not a list, or the rest of the run is not readable.
    fn by_rows(
        &mut self,
        index: usize,
        begin: usize,
        text: &str,
    ) -> Result<Option<PartialRun>, ReadError> {
        let (tame, tokens) = huge::replace(text.as_bytes());
        let tame = std::str::from_utf8(&tame).unwrap_or(text);
        let parted = any::parted(tame, &["observations"]);
        let parted =
            parted.map_err(|error| stopped::syntax(self.slices.text.as_bytes(), begin, &error))?;
        let Some(any::Parted { rest, duplicates, apart }) = parted else { return Ok(None) };
        let Some((_, list)) = apart.first().filter(|(_, list)| list.starts_with('[')) else {
            return Ok(None);
        };
        let at = list.as_ptr().addr() - tame.as_ptr().addr() + 1;
        let target = format!("/runs/{index}");
        let base = self.lines.advance(begin);
        let mut alone =
            Alone { pointer: RUN, target: &target, document: document_with("runs", rest) };
        let mut problems = alone.problems(duplicates);
        problems.extend(self.repeated(&alone.document, index));
        alone.place(&mut problems, text, &tokens, base);
        let value = alone.value();
        let (Some(mut run), out, _) = alone.readable(&problems, |mut document| document.runs.pop())
        else {
            return Ok(None);
        };
        let mut left_out = out;
        problems.iter_mut().for_each(|problem| renumber(problem, RUN, &target));
        let (id, pipe) = (text_of(&value, "id"), text_of(&value, "pipe"));
        let mut damage = Vec::new();
        if !problems.is_empty() {
            damage.push(RowDamage { problems, value });
        }
        let target = format!("{target}/observations");
        let mut rows = Rows::new(self.slices.text, begin, &self.lines);
        rows.read(Slices { text, at, count: 0 }, &OBSERVATIONS, &target, |row| {
            run.observations.push(row);
        })?;
        damage.extend(rows.damage);
        left_out.extend(rows.left_out);
        if let Some(readable) = &mut self.readable {
            readable.left_out.extend(left_out);
            readable.kept.extend(rows.kept);
        }
        Ok(Some(PartialRun { index, run: Some(run), id, pipe, damage }))
    }

    /// Diagnoses a run with its observations.
    fn in_one_piece(
        &mut self,
        index: usize,
        begin: usize,
        text: &str,
        error: Option<serde_json::Error>,
    ) -> Result<PartialRun, ReadError> {
        let (tame, tokens) = huge::replace(text.as_bytes());
        let (value, duplicates) = any::noting_duplicates(&tame)
            .map_err(|error| stopped::syntax(self.slices.text.as_bytes(), begin, &error))?;
        let target = format!("/runs/{index}");
        let base = self.lines.advance(begin);
        let mut alone =
            Alone { pointer: RUN, target: &target, document: document_with("runs", value) };
        let mut problems = alone.problems(duplicates);
        problems.extend(self.repeated(&alone.document, index));
        if let Some(error) = error.filter(|_| problems.is_empty()) {
            // The typed reader decides what is valid.
            problems.push(Problem::new(ProblemKind::WrongType, RUN, error.to_string()));
        }
        alone.place(&mut problems, text, &tokens, base);
        let value = alone.value();
        let (run, left_out, kept) = alone.readable(&problems, |mut document| document.runs.pop());
        if let Some(readable) = &mut self.readable {
            readable.left_out.extend(left_out);
            readable.kept.extend(kept);
        }
        problems.iter_mut().for_each(|problem| renumber(problem, RUN, &target));
        let (id, pipe) = (text_of(&value, "id"), text_of(&value, "pipe"));
        Ok(PartialRun { index, run, id, pipe, damage: vec![RowDamage { problems, value }] })
    }

    /// The problem of a run whose id an earlier run has.
    fn repeated(&mut self, document: &Value, index: usize) -> Option<Problem> {
        let id = document.pointer("/runs/0/id")?.as_str()?;
        match self.first.get(id) {
            Some(first) if *first == index => None,
            Some(first) => Some(ids::duplicate_row(RUN, id, format!("/runs/{first}"))),
            None => {
                self.first.insert(id.to_owned(), index);
                None
            }
        }
    }
}

/// The head of a document with structural problems.
struct Head {
    readable: Option<Readable>,
    damage: Vec<RowDamage>,
    /// The position after the opening bracket of the runs.
    runs: usize,
}

impl Head {
    /// A head without problems.
    fn sound(text: &str) -> Option<Self> {
        let (head, runs) = json::head_and_runs(text)?;
        let mut ids = IdWatch::default();
        ids.head(&head);
        let readable = Readable { head, runs: Vec::new(), left_out: Vec::new(), kept: Kept::new() };
        (!ids.has_duplicates()).then(|| Self { readable: Some(readable), damage: Vec::new(), runs })
    }

    /// Diagnoses the head without its tables, and each row that is not sound by itself.
    fn new(text: &str) -> Result<Option<Self>, ReadError> {
        let source = text.as_bytes();
        let (tame, tokens) = huge::replace(source);
        let tame = std::str::from_utf8(&tame).unwrap_or(text);
        let keys: Vec<&str> = HEAD_TABLES.iter().copied().chain(["runs"]).collect();
        let parted = any::parted(tame, &keys);
        let parted = parted.map_err(|error| stopped::syntax(source, 0, &error))?;
        let Some(any::Parted { rest, duplicates, apart }) = parted else { return Ok(None) };
        // A table that is not a list is a problem of the head.
        if apart.iter().any(|(_, list)| !list.starts_with('[')) {
            return Ok(None);
        }
        let mut problems = diagnose::problems_of(&rest, duplicates, "");
        // What is wrong by this version's schema may be right by that of another.
        if problems.iter().any(diagnose::is_of_version) {
            return Ok(None);
        }
        let places = locate_all(source, problems.iter().map(|p| p.pointer.as_str()));
        diagnose::place(&mut problems, &places, &tokens, (1, 1));
        // What is wrong elsewhere may be right in the other version.
        if problems.iter().any(diagnose::is_of_version) {
            if json::is_too_deep(text) {
                return Ok(None);
            }
            let damage = vec![RowDamage { problems, value: Value::Null }];
            return Ok(Some(Self { readable: None, damage, runs: source.len() }));
        }
        let mut readable = remains(rest, &problems).map(|head| head.into_parts().0);
        if readable.is_none() && problems.is_empty() {
            return Ok(None);
        }
        let mut damage = vec![RowDamage { problems, value: Value::Null }];
        let lines = Lines::new(source);
        let mut rows = Rows::new(text, 0, &lines);
        let mut runs = source.len();
        for (name, list) in apart {
            let at = list.as_ptr().addr() - tame.as_ptr().addr() + 1;
            if name == "runs" {
                runs = at;
                continue;
            }
            let head = readable.as_mut().map(|readable| &mut readable.head);
            read_table(&name, &mut rows, Slices { text, at, count: 0 }, head)?;
        }
        damage.extend(rows.damage);
        if let Some(readable) = &mut readable {
            readable.left_out.extend(rows.left_out);
            readable.kept.extend(rows.kept);
        }
        Ok(Some(Self { readable, damage, runs }))
    }
}

/// How the rows of a table are read.
struct Table<T: 'static> {
    /// The pointer of a row that is alone in its document.
    pointer: &'static str,
    /// The document with such a row.
    document: fn(Value) -> Value,
    id: fn(&T) -> &str,
    /// Takes the row out of its document.
    take: fn(Document) -> Option<T>,
}

const OBSERVATIONS: Table<Observation> = Table {
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
        const HEAD_TABLES: &[&str] = &[$(stringify!($table)),+];

        /// Reads a table of the head.
        fn read_table(
            name: &str,
            rows: &mut Rows<'_>,
            slices: Slices<'_>,
            mut head: Option<&mut crate::tables::Head>,
        ) -> Result<(), ReadError> {
            match name {
                $(stringify!($table) => {
                    let table = Table::<$row> {
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
struct Rows<'s> {
    /// The source.
    whole: &'s str,
    /// Where the text with the rows begins in it.
    begin: usize,
    lines: Lines<'s>,
    damage: Vec<RowDamage>,
    left_out: Vec<LeftOut>,
    kept: Kept,
}

impl<'s> Rows<'s> {
    fn new(whole: &'s str, begin: usize, lines: &Lines<'s>) -> Self {
        Self {
            whole,
            begin,
            lines: lines.clone(),
            damage: Vec::new(),
            left_out: Vec::new(),
            kept: Kept::new(),
        }
    }

    /// Reads the rows of one table. `target` is its pointer in the document.
    fn read<T: DeserializeOwned>(
        &mut self,
        mut slices: Slices<'_>,
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
                    self.diagnose(table, target, (index, begin, text), read.err(), &mut first)?
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

    /// Diagnoses one row; what is readable of it.
    fn diagnose<T>(
        &mut self,
        table: &Table<T>,
        target: &str,
        (index, begin, text): (usize, usize, &str),
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
        let value = alone.value();
        let (read, left_out, kept) = alone.readable(&problems, table.take);
        self.left_out.extend(left_out);
        self.kept.extend(kept);
        problems.iter_mut().for_each(|problem| renumber(problem, pointer, &row));
        self.damage.push(RowDamage { problems, value });
        Ok(read)
    }
}

/// A row that is alone in its document.
struct Alone<'p> {
    /// Its pointer there.
    pointer: &'p str,
    /// Its pointer in the source.
    target: &'p str,
    document: Value,
}

impl Alone<'_> {
    fn value(&self) -> Value {
        self.document.pointer(self.pointer).cloned().unwrap_or_default()
    }

    fn problems(&self, duplicates: Vec<String>) -> Vec<Problem> {
        diagnose::problems_of(&self.document, duplicates, self.pointer)
    }

    /// Gives the problems their locations in the source. `base` is the location of the row.
    fn place(
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
    fn readable<T>(
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

/// Reads the readable runs again, once it is known what has to be left out of them.
#[derive(Debug)]
pub struct ReadableRuns<'s> {
    slices: Slices<'s>,
    /// What is left out, by the number of the run: pointers within the run, the last one first.
    left_out: FxHashMap<usize, Vec<&'s str>>,
}

impl<'s> ReadableRuns<'s> {
    /// The runs of a source that a [`PartialReader`] has read to its end.
    #[must_use]
    pub fn new(source: &'s [u8], readable: &'s Readable) -> Option<Self> {
        let source = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
        let text = std::str::from_utf8(source).ok()?;
        let at = any::list_in(text, "runs").unwrap_or(text.len());
        let mut left_out: FxHashMap<usize, Vec<&'s str>> = FxHashMap::default();
        for out in readable.left_out.iter().rev() {
            let Some(inside) = out.pointer.strip_prefix("/runs/") else { continue };
            let (run, inside) = inside.split_at(inside.find('/').unwrap_or(inside.len()));
            if let Ok(run) = run.parse() {
                left_out.entry(run).or_default().push(inside);
            }
        }
        Some(Self { slices: Slices { text, at, count: 0 }, left_out })
    }

    /// A run without what is left out of it.
    fn without(text: &str, left_out: &[&str]) -> Option<Run> {
        Self::by_rows(text, left_out).or_else(|| {
            let (tame, _) = huge::replace(text.as_bytes());
            pruned(any::noting_duplicates(&tame).ok()?.0, left_out.iter().copied())
        })
    }

    /// The same with each observation by itself, if the observations are a list.
    fn by_rows(text: &str, left_out: &[&str]) -> Option<Run> {
        const LIST: &str = "/observations/";
        let (tame, _) = huge::replace(text.as_bytes());
        let tame = std::str::from_utf8(&tame).ok()?;
        let any::Parted { rest, apart, .. } = any::parted(tame, &["observations"]).ok()??;
        let (_, list) = apart.first()?;
        if !list.starts_with('[') {
            return None;
        }
        let at = list.as_ptr().addr() - tame.as_ptr().addr() + 1;
        let (of_rows, of_rest): (Vec<&str>, Vec<&str>) =
            left_out.iter().partition(|pointer| pointer.starts_with(LIST));
        let mut run: Run = pruned(rest, of_rest.into_iter())?;
        let mut by_row: FxHashMap<usize, Vec<&str>> = FxHashMap::default();
        for pointer in of_rows {
            let inside = &pointer[LIST.len()..];
            let (row, inside) = inside.split_at(inside.find('/').unwrap_or(inside.len()));
            by_row.entry(row.parse().ok()?).or_default().push(inside);
        }
        for (index, _, text) in (Slices { text: tame, at, count: 0 }) {
            let row = match by_row.get(&index) {
                Some(left_out) if left_out.contains(&"") => None,
                Some(left_out) => pruned(
                    any::noting_duplicates(text.as_bytes()).ok()?.0,
                    left_out.iter().copied(),
                ),
                None => typed(text).ok().or_else(|| {
                    // A duplicate key is a problem that leaves the last value.
                    pruned(any::noting_duplicates(text.as_bytes()).ok()?.0, [].into_iter())
                }),
            };
            run.observations.extend(row);
        }
        Some(run)
    }
}

/// A row from its value, without some of its values.
fn pruned<'p, T: DeserializeOwned>(
    mut value: Value,
    left_out: impl Iterator<Item = &'p str>,
) -> Option<T> {
    for pointer in left_out {
        let (parent, token) = pointer.rsplit_once('/')?;
        let key = token.replace("~1", "/").replace("~0", "~");
        match value.pointer_mut(parent)? {
            Value::Object(object) => drop(object.remove(&key)),
            Value::Array(rows) => drop(rows.remove(key.parse().ok()?)),
            _ => {}
        }
    }
    T::deserialize(&value).ok()
}

impl Iterator for ReadableRuns<'_> {
    type Item = Run;

    fn next(&mut self) -> Option<Run> {
        loop {
            let (index, _, text) = self.slices.next()?;
            let run = match self.left_out.get(&index) {
                Some(left_out) if left_out.contains(&"") => None,
                None => typed(text).ok().or_else(|| Self::without(text, &[])),
                Some(left_out) => Self::without(text, left_out),
            };
            if run.is_some() {
                return run;
            }
        }
    }
}

/// Every structural problem of a document, in the order of the source; `None` if it has to be
/// diagnosed as a whole.
pub(super) fn all_problems(source: &[u8]) -> Result<Option<Vec<Problem>>, ReadError> {
    let Some(mut reader) = PartialReader::new(source)? else { return Ok(None) };
    // Only the problems are of interest.
    reader.readable = None;
    let mut problems = Vec::new();
    while let Some(run) = reader.next_run()? {
        problems.extend(run.damage.into_iter().flat_map(|damage| damage.problems));
    }
    problems.extend(reader.damage.into_iter().flat_map(|damage| damage.problems));
    diagnose::sort(&mut problems);
    Ok(Some(problems))
}

/// The pointer of a run that is alone in its document.
const RUN: &str = "/runs/0";

fn typed<T: DeserializeOwned>(text: &str) -> Result<T, serde_json::Error> {
    let mut reader = serde_json::Deserializer::from_str(text);
    T::deserialize(&mut reader).and_then(|row| reader.end().map(|()| row))
}

fn text_of(row: &Value, key: &str) -> Option<String> {
    row.get(key)?.as_str().map(str::to_owned)
}

/// A document with one row, and a head that has no problems.
fn document_with(table: &str, row: Value) -> Value {
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
fn renumber(problem: &mut Problem, alone: &str, target: &str) {
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

/// The elements of a list, in a source that is JSON.
#[derive(Debug)]
struct Slices<'s> {
    text: &'s str,
    /// The position after the opening bracket or the last element.
    at: usize,
    count: usize,
}

impl<'s> Iterator for Slices<'s> {
    /// The number of the element, where it begins, and its text.
    type Item = (usize, usize, &'s str);

    fn next(&mut self) -> Option<Self::Item> {
        let bytes = self.text.as_bytes();
        let mut begin = scan::skip_space(bytes, self.at);
        if bytes.get(begin) == Some(&b',') {
            begin = scan::skip_space(bytes, begin + 1);
        }
        if bytes.get(begin) == Some(&b']') {
            return None;
        }
        let end = scan::value_end(bytes, begin)?;
        (self.at, self.count) = (end, self.count + 1);
        Some((self.count - 1, begin, self.text.get(begin..end)?))
    }
}
