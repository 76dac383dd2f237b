//! Reads what is readable of a document with structural problems, run by run, so that a document
//! with one bad word costs little more than one without.
//!
//! A run that the typed reader accepts has no problems. Any other run is diagnosed by itself, in a
//! document of its own with a head that has no problems.

use rustc_hash::FxHashMap;
use serde_json::{Value, json};

use super::diagnose;
use super::error::{Problem, ProblemKind, ReadError};
use super::ids::{self, IdWatch};
use super::remains::{LeftOut, Readable, RunStub, remains};
use super::span::{Lines, locate_all};
use super::{any, huge, json, scan, stopped};
use crate::edit::Edit;
use crate::tables::Run;

/// Reads a document with structural problems, run by run: every problem, and what is readable.
///
/// ```
/// # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
/// # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"},
/// # {"id":"R2","pipe":"L-1","direction":"up"}]}"#;
/// let mut reader = obvert_model::read::PartialReader::new(source)?.expect("an object");
/// let first = reader.next_run()?.expect("a run");
/// assert!(first.run.is_some() && first.damage.is_none());
/// let second = reader.next_run()?.expect("a run");
/// // A run requires a direction.
/// assert!(second.run.is_none());
/// assert_eq!(second.damage.expect("problems").problems[0].pointer, "/runs/1/direction");
/// let readable = reader.into_readable().expect("a head");
/// assert_eq!((readable.runs.len(), readable.original("/runs/0").as_str()), (1, "/runs/0"));
/// # Ok::<(), obvert_model::read::ReadError>(())
/// ```
#[derive(Debug)]
pub struct PartialReader<'s> {
    slices: Slices<'s>,
    head: Value,
    problems: Vec<Problem>,
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
    /// What is wrong with it, if anything is.
    pub damage: Option<RunDamage>,
}

/// The structural problems of one run.
#[derive(Debug)]
pub struct RunDamage {
    /// The problems, with locations in the source.
    pub problems: Vec<Problem>,
    /// The run as a value.
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
        let (tame, tokens) = huge::replace(source);
        let tame = std::str::from_utf8(&tame).unwrap_or(text);
        let parted = any::parted(tame).map_err(|error| stopped::syntax(source, 0, &error))?;
        let Some(any::Parted { head, duplicates, runs: Some(runs) }) = parted else {
            return Ok(None);
        };
        if !runs.starts_with('[') {
            return Ok(None);
        }
        let at = runs.as_ptr().addr() - tame.as_ptr().addr() + 1;
        let mut problems = diagnose::problems_of(&head, duplicates, "");
        let places = locate_all(source, problems.iter().map(|p| p.pointer.as_str()));
        diagnose::place(&mut problems, &places, &tokens, (1, 1));
        let readable = remains(head.clone(), problems.clone()).map(|head| head.into_parts().0);
        if readable.is_none() && problems.is_empty() {
            return Ok(None);
        }
        Ok(Some(Self {
            slices: Slices { text, at, count: 0 },
            head,
            problems,
            readable,
            first: FxHashMap::default(),
            rows: Vec::new(),
            lines: Lines::new(source),
        }))
    }

    /// The head as a value.
    #[must_use]
    pub fn head(&self) -> &Value {
        &self.head
    }

    /// The problems of the head, with locations in the source.
    #[must_use]
    pub fn head_problems(&self) -> &[Problem] {
        &self.problems
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
        let read = typed(text);
        let sound = read.as_ref().is_ok_and(|run| {
            let mut ids = IdWatch::default();
            ids.run(run);
            !ids.has_duplicates() && !self.first.contains_key(run.id.as_str())
        });
        let found = match read {
            Ok(run) if sound => {
                self.first.insert(run.id.to_string(), index);
                PartialRun { index, run: Some(run), damage: None }
            }
            read => self.diagnose(index, begin, text, read.err())?,
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

    fn diagnose(
        &mut self,
        index: usize,
        begin: usize,
        text: &str,
        error: Option<serde_json::Error>,
    ) -> Result<PartialRun, ReadError> {
        let whole = self.slices.text;
        let (tame, tokens) = huge::replace(text.as_bytes());
        let (value, duplicates) = any::noting_duplicates(&tame)
            .map_err(|error| stopped::syntax(whole.as_bytes(), begin, &error))?;
        let document = alone(value);
        let mut problems = diagnose::problems_of(&document, duplicates, RUN);
        problems.extend(self.repeated(&document, index));
        if let Some(error) = error.filter(|_| problems.is_empty()) {
            // The typed reader decides what is valid.
            problems.push(Problem::new(ProblemKind::WrongType, RUN, error.to_string()));
        }
        let inside = |problem: &'_ Problem| problem.pointer[RUN.len()..].to_owned();
        let pointers: Vec<String> = problems.iter().map(inside).collect();
        let places = locate_all(text.as_bytes(), pointers.iter().map(String::as_str));
        let base = self.lines.advance(begin);
        problems.iter_mut().for_each(|problem| problem.pointer = inside(problem));
        diagnose::place(&mut problems, &places, &tokens, base);
        problems.iter_mut().for_each(|problem| problem.pointer.insert_str(0, RUN));
        let value = document["runs"][0].clone();
        let run = self.readable_run(index, document, &problems);
        problems.iter_mut().for_each(|problem| renumber(problem, index));
        Ok(PartialRun { index, run, damage: Some(RunDamage { problems, value }) })
    }

    /// The problem of a run whose id an earlier run has.
    fn repeated(&mut self, document: &Value, index: usize) -> Option<Problem> {
        let id = document.pointer("/runs/0/id")?.as_str()?;
        match self.first.get(id) {
            Some(first) => Some(ids::duplicate_run(RUN, id, *first)),
            None => {
                self.first.insert(id.to_owned(), index);
                None
            }
        }
    }

    /// What is readable of a run that is alone in its document.
    fn readable_run(&mut self, index: usize, document: Value, problems: &[Problem]) -> Option<Run> {
        let readable = self.readable.as_mut()?;
        let kind = problems.first().map_or(ProblemKind::WrongType, |problem| problem.kind);
        let value = document["runs"][0].clone();
        let Some(parts) = remains(document, problems.to_vec()) else {
            let pointer = format!("/runs/{index}");
            readable.left_out.push(LeftOut { pointer, kind, meant: None, value });
            return None;
        };
        let (alone, mut runs) = parts.into_parts();
        readable.left_out.extend(
            alone
                .left_out
                .into_iter()
                .map(|out| LeftOut { pointer: renumbered(&out.pointer, index), ..out }),
        );
        let lists = alone.kept.into_iter().filter(|(list, _)| list != "/runs");
        readable.kept.extend(lists.map(|(list, rows)| (renumbered(&list, index), rows)));
        runs.pop()
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
        let at = any::runs_in(text)?;
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

    fn without(text: &str, left_out: &[&str]) -> Option<Run> {
        let (tame, _) = huge::replace(text.as_bytes());
        let (mut value, _) = any::noting_duplicates(&tame).ok()?;
        for pointer in left_out {
            let (parent, token) = pointer.rsplit_once('/')?;
            let key = token.replace("~1", "/").replace("~0", "~");
            match value.pointer_mut(parent)? {
                Value::Object(object) => drop(object.remove(&key)),
                Value::Array(rows) => drop(rows.remove(key.parse().ok()?)),
                _ => {}
            }
        }
        Run::deserialize(&value).ok()
    }
}

impl Iterator for ReadableRuns<'_> {
    type Item = Run;

    fn next(&mut self) -> Option<Run> {
        loop {
            let (index, _, text) = self.slices.next()?;
            let run = match self.left_out.get(&index) {
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
    let mut problems = reader.problems.clone();
    while let Some(run) = reader.next_run()? {
        problems.extend(run.damage.into_iter().flat_map(|damage| damage.problems));
    }
    diagnose::sort(&mut problems);
    Ok(Some(problems))
}

/// The pointer of the run in a document of its own.
const RUN: &str = "/runs/0";

fn typed(text: &str) -> Result<Run, serde_json::Error> {
    let mut reader = serde_json::Deserializer::from_str(text);
    Run::deserialize(&mut reader).and_then(|run| reader.end().map(|()| run))
}

/// A document with one run and a head that has no problems.
fn alone(run: Value) -> Value {
    let mut document = json!({
        "obvert": crate::versions::CURRENT,
        "id": "d",
        "issued": "1970-01-01T00:00:00Z",
        "units": { "length": "m", "section": "mm" },
        "coding": { "list": "l", "version": "1" },
        "runs": []
    });
    document["runs"] = Value::Array(vec![run]);
    document
}

/// Gives a problem of a run that is alone in its document the number of the run.
fn renumber(problem: &mut Problem, index: usize) {
    problem.pointer = renumbered(&problem.pointer, index);
    if let Some(other) = problem.other.as_mut().filter(|other| other.len() > RUN.len()) {
        *other = renumbered(other, index);
    }
    for edit in problem.fix.iter_mut().flat_map(|fix| &mut fix.edits) {
        match edit {
            Edit::Add { path, .. } | Edit::Remove { path } | Edit::Replace { path, .. } => {
                *path = renumbered(path, index);
            }
            Edit::Move { from, path } => {
                (*from, *path) = (renumbered(from, index), renumbered(path, index));
            }
        }
    }
}

fn renumbered(pointer: &str, index: usize) -> String {
    match pointer.strip_prefix(RUN) {
        Some(inside) if inside.is_empty() || inside.starts_with('/') => {
            format!("/runs/{index}{inside}")
        }
        _ => pointer.to_owned(),
    }
}

/// The elements of `runs`, in a source that is JSON.
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
