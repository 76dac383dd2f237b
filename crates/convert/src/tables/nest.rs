//! The last step from tables to a document: rows are nested in the rows that contain them, and the
//! model validates the document.

use std::collections::{HashMap, HashSet};

use obvert_model::read::{Problem, ProblemKind};
use serde_json::{Map, Value};

use super::assemble::{Names, Reader};
use super::loaded::{Duplicates, Fault, Row};
use super::plan::{ORDER, Plan, Table};
use crate::{ConvertError, Location, PlacedProblem, Problems, SourceMap, Survey, Validated};

impl Reader {
    /// Nests the rows and lets the model validate the document.
    pub(super) fn finish(mut self) -> Result<Survey, ConvertError> {
        let mut pointers = vec![vec![String::new()]];
        let mut sequences = vec![Vec::new()];
        for (index, table) in self.plan.tables.iter().enumerate() {
            let file = self.places.file(&(self.names)(table));
            if index > 0 {
                let sequence = self.sequence(table, index);
                let above = table
                    .parent
                    .and_then(|parent| pointers.get(parent))
                    .map_or(&[][..], Vec::as_slice);
                pointers.push(self.pointers(table, index, &sequence, above));
                sequences.push(sequence);
            }
            for (row, pointer) in self.loads[index].rows.iter().zip(&pointers[index]) {
                self.places.record(pointer, file, row.line, 0);
            }
        }
        self.report_missing();
        self.report_duplicates(&pointers);
        let mut own = self.faults(&pointers);
        own.append(&mut self.orphans);
        let value = self.nest(sequences);
        validate(value, self.places, own, self.plan, self.names)
    }

    /// The rows of a table, by list and in the order of their lists.
    fn sequence(&mut self, table: &Table, index: usize) -> Vec<usize> {
        let rows = &self.loads[index].rows;
        let mut sequence: Vec<usize> = (0..rows.len()).collect();
        sequence.sort_by_key(|row| (rows[*row].parent, rows[*row].order));
        let order = self.loads[index].order;
        let mut repeated = Vec::new();
        for pair in sequence.windows(2).filter(|_| table.ordered) {
            let (first, second) = (&rows[pair[0]], &rows[pair[1]]);
            if (first.parent, first.order) == (second.parent, second.order) {
                let message = format!(
                    "order {} is used here and in line {} for the same list; number the rows 1, 2, 3 …",
                    second.order, first.line
                );
                repeated.push((second.line, message));
            }
        }
        for (line, message) in repeated {
            self.report_orphan(table, line, (order, ORDER), message);
        }
        sequence
    }

    /// The pointers of the rows of a table. `above` are those of the parent table.
    fn pointers(
        &self,
        table: &Table,
        index: usize,
        sequence: &[usize],
        above: &[String],
    ) -> Vec<String> {
        let rows = &self.loads[index].rows;
        let mut pointers = vec![String::new(); rows.len()];
        let (mut list, mut place) = (None, 0);
        for &row in sequence {
            let parent = rows[row].parent;
            place = if list == Some(parent) { place + 1 } else { 0 };
            list = Some(parent);
            let holder = above.get(parent).map(String::as_str).unwrap_or_default();
            pointers[row] = format!("{holder}/{}/{place}", table.below.join("/"));
        }
        pointers
    }

    /// The errors in cells, as problems.
    fn faults(&mut self, pointers: &[Vec<String>]) -> Vec<PlacedProblem> {
        let mut problems = Vec::new();
        for (index, loaded) in self.loads.iter_mut().enumerate() {
            for (row, fault) in std::mem::take(&mut loaded.faults) {
                let Fault { kind, below, column, heading, message } = fault;
                let pointer = format!("{}{below}", pointers[index][row]);
                let (column, heading) = (Some(column).filter(|column| *column > 0), Some(heading));
                let line = loaded.rows[row].line;
                let place = Some(Location {
                    file: (self.names)(&self.plan.tables[index]),
                    line,
                    column,
                    heading,
                });
                let problem = Problem::new(kind, pointer, message);
                problems.push(PlacedProblem { place, problem });
            }
        }
        problems
    }

    /// Reports duplicate rows, consecutive ones as one problem.
    fn report_duplicates(&mut self, pointers: &[Vec<String>]) {
        for (index, loaded) in self.loads.iter_mut().enumerate() {
            for Duplicates { of, rows, lines: (from, to), .. } in
                std::mem::take(&mut loaded.duplicates)
            {
                let above = |row: usize| loaded.rows.get(row).map_or(0, |row| row.line);
                let message = match rows {
                    1 => format!("the row is a duplicate of row {}; remove one of them", above(of)),
                    _ => format!(
                        "rows {from} to {to} are duplicates of rows {} to {}; remove one set",
                        above(of),
                        above(of + rows - 1)
                    ),
                };
                let file = (self.names)(&self.plan.tables[index]);
                let place = Some(Location { file, line: from, column: None, heading: None });
                let (kind, pointer) = (ProblemKind::DuplicateRow, pointers[index][of].clone());
                let problem = Problem::new(kind, pointer, message);
                self.orphans.push(PlacedProblem { place, problem });
            }
        }
    }

    /// Reports each table that has no rows although rows of other tables belong to them: as one
    /// problem, not one per row.
    fn report_missing(&mut self) {
        let mut missing = std::mem::take(&mut self.missing).into_iter().peekable();
        while let Some(((holder, child), (count, place))) = missing.next() {
            let mut parts = vec![(count, child)];
            while let Some(((_, child), (count, _))) =
                missing.next_if(|((other, _), _)| *other == holder)
            {
                parts.push((count, child));
            }
            let all: usize = parts.iter().map(|(count, _)| count).sum();
            let rows = |(count, child): &(usize, usize)| {
                let file = (self.names)(&self.plan.tables[*child]);
                format!("{count} {} of {file}", if *count == 1 { "row" } else { "rows" })
            };
            let parts = parts.iter().map(rows).collect::<Vec<_>>().join(", ");
            let table = &self.plan.tables[holder];
            let what = if self.loads[holder].exists { "has no rows" } else { "is missing" };
            let belong = if all == 1 { "belongs" } else { "belong" };
            let message = format!(
                "{} {what}, and {parts} {belong} to its rows; add these rows, or remove the rows that belong to them",
                (self.names)(table)
            );
            let pointer: String = table.path.iter().map(|key| format!("/{key}/-")).collect();
            let pointer = pointer.trim_end_matches("/-").to_owned();
            let kind = ProblemKind::OrphanRow;
            let problem = Problem::new(kind, pointer, message);
            self.orphans.push(PlacedProblem { place: Some(place), problem });
        }
    }

    /// Nests the rows of all tables.
    fn nest(&mut self, sequences: Vec<Vec<usize>>) -> Value {
        for (index, sequence) in sequences.into_iter().enumerate().skip(1).rev() {
            let table = &self.plan.tables[index];
            let mut rows = std::mem::take(&mut self.loads[index].rows);
            let Some(holders) = table.parent.map(|parent| &mut self.loads[parent].rows) else {
                continue;
            };
            for row in sequence {
                let Row { parent, value, .. } = &mut rows[row];
                if let Some(list) = holders
                    .get_mut(*parent)
                    .and_then(|holder| list(&mut holder.value, &table.below))
                {
                    list.push(value.take());
                }
            }
        }
        self.loads
            .first_mut()
            .and_then(|document| document.rows.first_mut())
            .map(|row| row.value.take())
            .unwrap_or_default()
    }
}

/// The list at a path of keys, which is created if it is missing.
pub(super) fn list<'v>(value: &'v mut Value, keys: &[String]) -> Option<&'v mut Vec<Value>> {
    let (last, above) = keys.split_last()?;
    let mut object = value.as_object_mut()?;
    for key in above {
        object = object
            .entry(key.clone())
            .or_insert_with(|| Value::Object(Map::new()))
            .as_object_mut()?;
    }
    object.entry(last.clone()).or_insert_with(|| Value::Array(Vec::new())).as_array_mut()
}

fn validate(
    value: Value,
    places: SourceMap,
    own: Vec<PlacedProblem>,
    plan: &Plan,
    names: Names,
) -> Result<Survey, ConvertError> {
    let (found, rest) = match crate::typed_with(value, places, &own)? {
        Validated::Valid(survey) => return Ok(*survey),
        Validated::Invalid(found, rest) => (found, rest.map(|rest| *rest)),
    };
    // The problem of a cell is more precise than what the model reports about its value.
    let key = |placed: &PlacedProblem| {
        (placed.problem.pointer.clone(), placed.problem.kind == ProblemKind::MissingKey)
    };
    let of_value = |placed: &&PlacedProblem| {
        !matches!(placed.problem.kind, ProblemKind::OrphanRow | ProblemKind::DuplicateRow)
    };
    let reported: HashSet<(String, bool)> = own.iter().filter(of_value).map(key).collect();
    let mut all = own;
    all.extend(found.into_iter().filter(|placed| !reported.contains(&key(placed))));
    let files: HashMap<String, usize> =
        plan.tables.iter().enumerate().map(|(index, table)| (names(table), index)).collect();
    all.sort_by_key(|placed| match &placed.place {
        Some(place) => (files.get(&place.file).copied(), place.line, place.column),
        None => (None, 0, None),
    });
    Err(ConvertError::Structure(Problems::new(all, rest)))
}
