//! Tables a run at a time. Where the rows of every table stand in the order of the runs that they belong to, as the writers of
//! all forms leave them, one row of each table is all that has to be held; where they do not, or anything is wrong, this road
//! ends without a word, and the whole is read by [`read`](super::read), which says what is wrong.

use std::borrow::Cow;

use obvert_model::read::{IdWatch, Runs};
use obvert_model::tables::{Document, Head, Run};
use serde_json::Value;

use super::Rows;
use super::plan::{Plan, plan};
use super::read::{Names, list};
use super::sheet::Sheet;
use crate::{SourceMap, Survey};

/// Calls `work` with the head and the runs of tables, one for each of the plan where there is one. `None` when the whole has to
/// be read: what `work` gave is worth nothing then.
pub(crate) fn stream<R: Rows, T>(
    sources: Vec<Option<R>>,
    work: &mut dyn FnMut(&Head, &mut dyn Runs) -> T,
) -> Option<T> {
    let (head, mut runs) = begin(sources, None)?;
    let result = work(&head, &mut runs);
    runs.ends().then_some(result)
}

/// A whole survey by the same road, with the places of its rows: what the cells said of a run goes as soon as it is typed.
pub(crate) fn survey<R: Rows>(sources: Vec<Option<R>>, names: Names) -> Option<Survey> {
    let (head, mut runs) = begin(sources, Some(names))?;
    let mut all = Vec::new();
    while let Some(run) = runs.next_run() {
        all.push(run);
    }
    let sound = runs.ends();
    let (places, _) = runs.tables.places?;
    sound.then_some(Survey { document: Document { head, runs: all }, places })
}

/// Reads the head; the runs are to be pulled. Places are recorded where `names` says how tables are called.
fn begin<R: Rows>(sources: Vec<Option<R>>, names: Option<Names>) -> Option<(Head, Pull<R>)> {
    let plan = plan();
    let mut cursors = Vec::new();
    let (mut places, mut files) = (SourceMap::default(), Vec::new());
    for (table, source) in plan.tables.iter().zip(sources) {
        let mut cursor = None;
        let name = names.map(|names| names(table)).unwrap_or_default();
        files.push(places.file(&name));
        if let Some(rows) = source {
            let mut problems = Vec::new();
            let file = files.last().copied().unwrap_or_default();
            let sheet = Sheet::new(table, (file, &name), &rows, &mut places, &mut problems);
            if !problems.is_empty() {
                return None;
            }
            cursor = Some(Cursor { sheet, rows, next: None });
        }
        cursors.push(cursor);
    }
    let mut tables = Tables { plan, cursors, places: names.map(|_| (places, files)) };
    for index in 0..plan.tables.len() {
        tables.advance(index)?;
    }
    let head = tables.take(0, &[], "")?;
    let head = Head::deserialize(head).ok()?;
    let mut ids = IdWatch::default();
    ids.head(&head);
    Some((head, Pull { tables, ids, failed: false, count: 0 }))
}

/// A table that is being read, and the row that comes next.
struct Cursor<R> {
    sheet: Sheet,
    rows: R,
    next: Option<Next>,
}

struct Next {
    line: usize,
    /// What names the rows that hold it.
    keys: Vec<String>,
    /// What names it in the rows that it holds.
    own: String,
    order: u64,
    value: Value,
}

struct Tables<R> {
    plan: &'static Plan,
    cursors: Vec<Option<Cursor<R>>>,
    /// The places of rows, and the number of the file of each table, where anybody wants them.
    places: Option<(SourceMap, Vec<u32>)>,
}

impl<R: Rows> Tables<R> {
    /// Reads the next row of a table.
    fn advance(&mut self, index: usize) -> Option<()> {
        let table = &self.plan.tables[index];
        let Some(cursor) = &mut self.cursors[index] else { return Some(()) };
        let Cursor { sheet, rows, next } = cursor;
        *next = match rows.next_row().ok()? {
            None => None,
            Some((line, record)) => {
                let (value, faults) = sheet.row(record);
                if !faults.is_empty() {
                    return None;
                }
                let keys: Vec<String> = sheet.keys(record).map(Cow::into_owned).collect();
                let order = sheet.order(record).ok()?;
                let id = || sheet.id(record).map(Cow::into_owned).unwrap_or_default();
                let own = if table.ordered { order.to_string() } else { id() };
                Some(Next { line, keys, own, order, value })
            }
        };
        Some(())
    }

    /// Takes the row that comes next in a table, with all that it holds. `pointer` is where it stands in the document.
    fn take(&mut self, index: usize, above: &[String], pointer: &str) -> Option<Value> {
        let plan = self.plan;
        let Next { line, own, mut value, .. } = self.cursors[index].as_mut()?.next.take()?;
        if let Some((places, files)) = &mut self.places {
            places.record(pointer, files.get(index).copied()?, line, 0);
        }
        self.advance(index)?;
        let mut path = above.to_vec();
        if plan.tables[index].parent.is_some() {
            path.push(own);
        }
        for child in plan.below(index).filter(|child| *child != plan.runs()) {
            let (mut last, mut count) = (0, 0);
            while let Some(next) = self.cursors[child].as_ref().and_then(|cursor| cursor.next.as_ref()) {
                if next.keys != path {
                    break;
                }
                if plan.tables[child].ordered && next.order <= std::mem::replace(&mut last, next.order) {
                    return None;
                }
                let below = match self.places {
                    Some(_) => format!("{pointer}/{}/{count}", plan.tables[child].below.join("/")),
                    None => String::new(),
                };
                let row = self.take(child, &path, &below)?;
                count += 1;
                list(&mut value, &plan.tables[child].below)?.push(row);
            }
        }
        Some(value)
    }
}

struct Pull<R> {
    tables: Tables<R>,
    ids: IdWatch,
    failed: bool,
    /// How many runs have been taken.
    count: usize,
}

impl<R: Rows> Pull<R> {
    /// Whether everything was read to the end, and nothing was wrong.
    fn ends(&mut self) -> bool {
        while self.next_run().is_some() {}
        let over = self.tables.cursors.iter().flatten().all(|cursor| cursor.next.is_none());
        over && !self.failed && !self.ids.seen_twice()
    }
}

impl<R: Rows> Runs for Pull<R> {
    fn next_run(&mut self) -> Option<Run> {
        let index = self.tables.plan.runs();
        let waiting = self.tables.cursors[index].as_ref().is_some_and(|cursor| cursor.next.is_some());
        if self.failed || !waiting {
            return None;
        }
        let pointer = format!("/runs/{}", self.count);
        self.count += 1;
        let run = self.tables.take(index, &[], &pointer).and_then(|value| Run::deserialize(value).ok());
        match &run {
            Some(run) => self.ids.run(run),
            None => self.failed = true,
        }
        run
    }
}
