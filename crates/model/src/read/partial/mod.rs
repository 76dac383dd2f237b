//! Reads what is readable of a document with structural problems, run by run, so that a document
//! with one bad word costs little more than one without.
//!
//! A run that the typed reader accepts has no problems. Any other run is diagnosed by itself, in a
//! document of its own with a head that has no problems.

mod readable_runs;
mod remove;
mod rows;
mod slices;

use rustc_hash::FxHashMap;
use serde_json::Value;

pub use self::readable_runs::ReadableRuns;
use self::remove::{Rest, rest_of};
use self::rows::{
    Alone, HEAD_TABLES, OBSERVATIONS, RUN, Rows, document_with, placed, read_table, renumber,
    text_of, untyped,
};
use self::slices::{Slices, run_and_observations, typed};
use super::error::{Problem, ProblemKind, ReadError};
use super::ids::{self, IdWatch};
use super::remains::{Kept, Readable, RunStub, remains};
use super::span::{Lines, locate_all};
use super::verify::{Advice, Found, Verified, verify};
use super::{any, diagnose, huge, json, stopped};
use crate::tables::Run;

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
    damage: Vec<RowDamage<'s>>,
    /// What is readable so far; `None` if the head is not.
    readable: Option<Readable>,
    /// The first run with each id.
    first: FxHashMap<String, usize>,
    /// The original index of each readable run.
    rows: Vec<usize>,
    lines: Lines<'s>,
    advice: Advice,
}

/// A run of a document with structural problems.
#[derive(Debug)]
pub struct PartialRun<'s> {
    /// Its number in the source, from 0.
    pub index: usize,
    /// What is readable of it.
    pub run: Option<Run>,
    /// Its id, if that is a text.
    pub id: Option<String>,
    /// The pipe that it went through, if that is a text.
    pub pipe: Option<String>,
    /// What is wrong with it and with its observations.
    pub damage: Vec<RowDamage<'s>>,
}

/// The structural problems of a row, or of the head without its tables.
#[derive(Debug)]
pub struct RowDamage<'s> {
    /// The problems, with locations in the source.
    pub problems: Vec<Problem>,
    /// The row; empty for the head.
    text: &'s str,
}

impl RowDamage<'_> {
    /// The row as a value: a row of a table, an observation, or a run with its observations. Null
    /// for the head. It is parsed for this.
    #[must_use]
    pub fn value(&self) -> Value {
        let tame = huge::replace(self.text.as_bytes()).0;
        any::noting_duplicates(&tame).map(|(value, _)| value).unwrap_or_default()
    }
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
            advice: start.advice,
        }))
    }

    /// What is wrong with the head and with the rows of its tables.
    #[must_use]
    pub fn head_damage(&self) -> &[RowDamage<'s>] {
        &self.damage
    }

    /// The next run; `None` after the last.
    ///
    /// # Errors
    /// If it is nested too deeply.
    pub fn next_run(&mut self) -> Result<Option<PartialRun<'s>>, ReadError> {
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
            read => self.damaged(index, begin, text, read.err())?,
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

    /// A run with problems.
    fn damaged(
        &mut self,
        index: usize,
        begin: usize,
        text: &'s str,
        error: Option<serde_json::Error>,
    ) -> Result<PartialRun<'s>, ReadError> {
        if let Some((run, at)) = self.without_observations(text) {
            let (id, pipe) = (Some(run.id.to_string()), Some(run.pipe.to_string()));
            let found = PartialRun { index, run: Some(run), id, pipe, damage: Vec::new() };
            return self.with_rows(found, (begin, text, at));
        }
        match self.by_rows(index, begin, text) {
            Some((found, at)) => return self.with_rows(found, (begin, text, at)),
            None => self.whole(index, begin, text, error.as_ref()),
        }
        .map_or_else(|| self.in_one_piece(index, begin, text, error), Ok)
    }

    /// A run that is sound but for its observations, and the position of their list.
    fn without_observations(&mut self, text: &'s str) -> Option<(Run, usize)> {
        let (run, list) = run_and_observations(text)?;
        if self.first.contains_key(run.id.as_str()) {
            return None;
        }
        Some((run, list.as_ptr().addr() - text.as_ptr().addr() + 1))
    }

    /// Verifies a run without its observations. Also returns the position of their list. `None` if
    /// they are not a list, or the rest of the run is not readable.
    fn by_rows(
        &mut self,
        index: usize,
        begin: usize,
        text: &'s str,
    ) -> Option<(PartialRun<'s>, usize)> {
        const ASIDE: Option<&str> = Some("observations");
        let target = format!("/runs/{index}");
        let verified = verify(text, "runs", &target, ASIDE, &mut self.advice)?;
        let list = verified.aside?;
        if text.as_bytes().get(list) != Some(&b'[') {
            return None;
        }
        let row = ("runs", target.as_str());
        let Rest { row, left_out } = rest_of(text, &verified, row, ASIDE, &mut self.advice)?;
        let run: Run = row?;
        if let Some(readable) = &mut self.readable {
            readable.left_out.extend(left_out);
        }
        Some((self.found(index, (begin, text), verified, Some(run)), list + 1))
    }

    /// Verifies a run with its observations, if nothing of it is readable but as a whole.
    fn whole(
        &mut self,
        index: usize,
        begin: usize,
        text: &'s str,
        error: Option<&serde_json::Error>,
    ) -> Option<PartialRun<'s>> {
        let target = format!("/runs/{index}");
        let mut verified = verify(text, "runs", &target, None, &mut self.advice)?;
        if let Some(error) = error.filter(|_| verified.found.is_empty()) {
            verified.found.push(untyped(&target, error));
        }
        let row = ("runs", target.as_str());
        let Rest { row, left_out } = rest_of(text, &verified, row, None, &mut self.advice)?;
        let rows = format!("{target}/observations/");
        let in_rows = |found: &Found| found.problem.pointer.starts_with(&rows);
        // An observation would be removed by itself.
        if row.is_some() && verified.found.iter().any(in_rows) {
            return None;
        }
        let mut first: FxHashMap<&str, usize> = FxHashMap::default();
        for (id, row, offset) in &verified.observations {
            let earlier = *first.entry(id).or_insert(*row);
            if earlier != *row {
                let row = format!("{target}/observations/{row}");
                let first = format!("{target}/observations/{earlier}");
                let problem = ids::duplicate_row(&row, id, first);
                verified.found.push(Found { problem, offset: *offset, member: None });
            }
        }
        if let Some(readable) = &mut self.readable {
            readable.left_out.extend(left_out);
        }
        Some(self.found(index, (begin, text), verified, row))
    }

    /// A run that was verified.
    fn found(
        &mut self,
        index: usize,
        (begin, text): (usize, &'s str),
        verified: Verified,
        run: Option<Run>,
    ) -> PartialRun<'s> {
        let Verified { mut found, id, pipe, .. } = verified;
        if let Some((id, offset)) = &id {
            let first = *self.first.entry(id.clone()).or_insert(index);
            if first != index {
                let first = format!("/runs/{first}");
                let problem = ids::duplicate_row(&format!("/runs/{index}"), id, first);
                found.push(Found { problem, offset: *offset, member: None });
            }
        }
        self.lines.advance(begin);
        let problems = placed(found, begin, &mut self.lines.clone());
        let damage =
            if problems.is_empty() { Vec::new() } else { vec![RowDamage { problems, text }] };
        PartialRun { index, run, id: id.map(|(id, _)| id), pipe, damage }
    }

    /// Reads the observations of a run. Their list begins before a position of its text.
    fn with_rows(
        &mut self,
        mut found: PartialRun<'s>,
        (begin, text, at): (usize, &'s str, usize),
    ) -> Result<PartialRun<'s>, ReadError> {
        if let Some(id) = &found.id {
            self.first.entry(id.clone()).or_insert(found.index);
        }
        self.lines.advance(begin);
        let target = format!("/runs/{}/observations", found.index);
        let mut rows = Rows::new(self.slices.text, begin, &self.lines, &mut self.advice);
        rows.read(Slices { text, at, count: 0 }, &OBSERVATIONS, &target, |row| {
            if let Some(run) = &mut found.run {
                run.observations.push(row);
            }
        })?;
        found.damage.extend(rows.damage);
        if let Some(readable) = &mut self.readable {
            readable.left_out.extend(rows.left_out);
            readable.kept.extend(rows.kept);
        }
        Ok(found)
    }

    /// Diagnoses a run with its observations.
    fn in_one_piece(
        &mut self,
        index: usize,
        begin: usize,
        text: &'s str,
        error: Option<serde_json::Error>,
    ) -> Result<PartialRun<'s>, ReadError> {
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
        let row = alone.document.pointer(RUN);
        let (id, pipe) =
            row.map(|row| (text_of(row, "id"), text_of(row, "pipe"))).unwrap_or_default();
        let (run, left_out, kept) = alone.readable(&problems, |mut document| document.runs.pop());
        if let Some(readable) = &mut self.readable {
            readable.left_out.extend(left_out);
            readable.kept.extend(kept);
        }
        problems.iter_mut().for_each(|problem| renumber(problem, RUN, &target));
        Ok(PartialRun { index, run, id, pipe, damage: vec![RowDamage { problems, text }] })
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
struct Head<'s> {
    readable: Option<Readable>,
    damage: Vec<RowDamage<'s>>,
    /// The position after the opening bracket of the runs.
    runs: usize,
    advice: Advice,
}

impl<'s> Head<'s> {
    /// A head without problems.
    fn sound(text: &'s str) -> Option<Self> {
        let (head, runs) = json::head_and_runs(text)?;
        let mut ids = IdWatch::default();
        ids.head(&head);
        let readable = Readable { head, runs: Vec::new(), left_out: Vec::new(), kept: Kept::new() };
        let (readable, advice) = (Some(readable), Advice::default());
        (!ids.has_duplicates()).then(|| Self { readable, damage: Vec::new(), runs, advice })
    }

    /// Diagnoses the head without its tables, and each row that is not sound by itself.
    fn new(text: &'s str) -> Result<Option<Self>, ReadError> {
        let source = text.as_bytes();
        let (tame, tokens) = huge::replace(source);
        let tame = std::str::from_utf8(&tame).unwrap_or(text);
        let mut keys: Vec<&str> = HEAD_TABLES.iter().copied().chain(["runs"]).collect();
        let part = |keys: &[&str]| {
            any::parted(tame, keys).map_err(|error| stopped::syntax(source, 0, &error))
        };
        let Some(mut parted) = part(&keys)? else { return Ok(None) };
        let odd = |(_, table): &&(String, &str)| !table.starts_with('[');
        // A table that is not a list is a problem of the head.
        if parted.apart.iter().any(|table| odd(&table)) {
            let odd: Vec<&str> =
                parted.apart.iter().filter(odd).map(|(name, _)| name.as_str()).collect();
            keys.retain(|key| !odd.contains(key));
            let Some(again) = part(&keys)? else { return Ok(None) };
            parted = again;
        }
        let any::Parted { rest, duplicates, apart } = parted;
        let mut problems = diagnose::problems_of(&rest, duplicates, "");
        let places = locate_all(source, problems.iter().map(|p| p.pointer.as_str()));
        diagnose::place(&mut problems, &places, &tokens, (1, 1));
        // What is wrong elsewhere may be right in the other version.
        if problems.iter().any(diagnose::is_of_version) {
            if json::is_too_deep(text) {
                return Ok(None);
            }
            let (damage, advice) = (vec![RowDamage { problems, text: "" }], Advice::default());
            return Ok(Some(Self { readable: None, damage, runs: source.len(), advice }));
        }
        let mut readable = remains(rest, &problems).map(|head| head.into_parts().0);
        if readable.is_none() && problems.is_empty() {
            return Ok(None);
        }
        let mut damage = vec![RowDamage { problems, text: "" }];
        let (lines, mut advice) = (Lines::new(source), Advice::default());
        let mut rows = Rows::new(text, 0, &lines, &mut advice);
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
        Ok(Some(Self { readable, damage, runs, advice }))
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
