//! From tables to a document. Every table becomes rows of JSON values first; then the rows find their place in the
//! row that holds them, and the model judges the whole, each problem placed at its file, line and column.

use std::collections::{HashMap, HashSet};

use obvert_model::read::{Problem, ProblemKind};
use serde_json::{Map, Value};

use super::cell;
use super::plan::{ORDER, Plan, Table, plan};
use super::records::{Records, form};
use super::sheet::{Fault, Loaded, Row, Sheet};
use crate::{ConvertError, Place, PlacedProblem, Problems, SourceMap, Survey, Unsound};

/// Reads the files of a package, each with its name: `runs.csv`. What is not a table of the root folder
/// (`datapackage.json`, media, a note) is passed over, a CSV file that is no table is an error. `name` is what
/// messages call the package.
///
/// # Errors
/// When the tables are not CSV as described at [the module](crate::csv), do not fit together, or do not describe a
/// valid document.
pub fn read<N: AsRef<str>, B: AsRef<[u8]>>(files: &[(N, B)], name: &str) -> Result<Survey, ConvertError> {
    let plan = plan();
    let sources = sources(plan, files, name)?;
    let (header, astray) = (Vec::new(), Vec::new());
    let mut reader = Reader { plan, places: SourceMap::default(), loads: Vec::new(), header, astray };

    let mut open = Vec::new();
    for (table, source) in plan.tables.iter().zip(&sources) {
        open.push(match source {
            Some((file, bytes)) => {
                let records = Records::open(file, bytes)?;
                let number = reader.places.file(file);
                let sheet = Sheet::new(table, number, &records, &mut reader.places, &mut reader.header);
                Some((sheet, records))
            }
            None => None,
        });
    }
    // Cells under headings that are not understood would be misjudged.
    if !reader.header.is_empty() {
        return Err(ConvertError::Structure(Problems::new(reader.header, None)));
    }
    for sheet in open {
        reader.load(sheet)?;
    }
    reader.finish()
}

type Source<'f> = Option<(&'f str, &'f [u8])>;

fn sources<'f, N: AsRef<str>, B: AsRef<[u8]>>(
    plan: &Plan,
    files: &'f [(N, B)],
    name: &str,
) -> Result<Vec<Source<'f>>, ConvertError> {
    let mut sources: Vec<Source<'f>> = vec![None; plan.tables.len()];
    for (file, bytes) in files {
        let file = file.as_ref();
        if let Some(index) = plan.tables.iter().position(|table| table.file() == file) {
            if sources[index].replace((file, bytes.as_ref())).is_some() {
                return Err(form(file, 1, format!("{name} holds this table twice; keep one")));
            }
        } else if !file.contains('/') && file.to_lowercase().ends_with(".csv") {
            let names: Vec<String> = plan.tables.iter().map(Table::file).collect();
            let near = nearest(file, names.iter().map(String::as_str));
            let near = near.map(|near| format!(" (did you mean {near}?)")).unwrap_or_default();
            let message = format!("no table of the format has this name{near}; the tables are: {}", names.join(", "));
            return Err(form(file, 1, message));
        }
    }
    if sources.first().is_none_or(Option::is_none) {
        let message = format!(
            "{name}: there is no document.csv, which says the units, the code list and all else that holds for the whole survey; every package has one"
        );
        return Err(ConvertError::Form { place: None, message });
    }
    Ok(sources)
}

/// The candidate that a name was most likely meant to be.
pub(super) fn nearest<'c>(name: &str, candidates: impl Iterator<Item = &'c str>) -> Option<&'c str> {
    let plain = |text: &str| text.to_lowercase().replace(['-', '_', ' ', '.'], "");
    let meant = plain(name);
    candidates
        .map(|candidate| (strsim::normalized_damerau_levenshtein(&meant, &plain(candidate)), candidate))
        .filter(|(likeness, _)| *likeness >= 0.6)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

struct Reader {
    plan: &'static Plan,
    places: SourceMap,
    loads: Vec<Loaded>,
    header: Vec<PlacedProblem>,
    /// Rows that have no place in the document.
    astray: Vec<PlacedProblem>,
}

impl Reader {
    /// Reads the rows of the next table of the plan.
    fn load(&mut self, open: Option<(Sheet, Records<'_>)>) -> Result<(), ConvertError> {
        let index = self.loads.len();
        let table = &self.plan.tables[index];
        let mut loaded = Loaded { order: open.as_ref().and_then(|(sheet, _)| sheet.order_at()), ..Loaded::default() };
        if let Some(parent) = table.parent {
            loaded.index.resize_with(self.loads[parent].rows.len(), HashMap::new);
        }
        if let Some((sheet, mut records)) = open {
            let mut last: Option<(Vec<String>, Option<usize>)> = None;
            while let Some((line, record)) = records.next_row()? {
                let above = sheet.keys(record);
                let parent = match &last {
                    Some((cells, row)) if cells.iter().map(String::as_str).eq(above.clone()) => *row,
                    _ => {
                        let cells: Vec<String> = above.map(str::to_owned).collect();
                        let row = self.holder(table, &cells);
                        let known = row.as_ref().ok().copied();
                        if let Err(Some((key, message))) = row {
                            let column = (sheet.key(key), table.keys[key].heading.as_str());
                            self.astray.push(astray(table, line, column, message));
                        }
                        // Further rows of a holder that is missing are told of one by one as well.
                        last = known.map(|row| (cells, Some(row)));
                        known
                    }
                };
                let order = sheet.order(record);
                if let Err(message) = &order {
                    self.astray.push(astray(table, line, (sheet.order_at(), ORDER), message.clone()));
                }
                let (Some(parent), Ok(order)) = (parent, order) else {
                    if let Some(id) = sheet.id(record).filter(|_| table.parent.is_some()) {
                        loaded.astray.insert(id.to_owned());
                    }
                    continue;
                };
                let row = loaded.rows.len();
                let (value, faults) = sheet.row(record);
                loaded.faults.extend(faults.into_iter().map(|fault| (row, fault)));
                let own = if table.ordered { Some(order.to_string()) } else { sheet.id(record).map(str::to_owned) };
                if let (Some(own), Some(rows)) = (own, loaded.index.get_mut(parent)) {
                    // Of two rows with one id the first counts; the model reports the other.
                    rows.entry(own).or_insert(row);
                }
                loaded.rows.push(Row { line, parent, order, value });
            }
        }
        if index == 0 && loaded.rows.len() != 1 {
            let line = loaded.rows.get(1).map_or(1, |row| row.line);
            let found = loaded.rows.len();
            return Err(form(
                &table.file(),
                line,
                format!("the document is one row below the headings; found {found}"),
            ));
        }
        self.loads.push(loaded);
        Ok(())
    }

    /// The number of the row that rows with these cells in their key columns belong to.
    /// The row that holds what has these cells in its key columns. Otherwise what is wrong, and in which of them; `None`
    /// where that row has no place itself, which is said once.
    fn holder(&self, table: &Table, cells: &[String]) -> Result<usize, Option<(usize, String)>> {
        let mut chain = Vec::new();
        let mut at = table.parent;
        while let Some(index) = at.filter(|index| *index > 0) {
            chain.push(index);
            at = self.plan.tables[index].parent;
        }
        let mut row = 0;
        for (number, ((cell, key), index)) in cells.iter().zip(&table.keys).zip(chain.iter().rev()).enumerate() {
            let name = &key.heading;
            if cell.is_empty() {
                let message = format!("the column {name:?} is empty; it must say which {name} the row belongs to");
                return Err(Some((number, message)));
            }
            let found = self.loads[*index].index.get(row).and_then(|rows| rows.get(cell));
            row = *found.ok_or_else(|| {
                let file = self.plan.tables[*index].file();
                let said = self.loads[*index].astray.contains(cell);
                let message =
                    format!("{file} has no {name} {}; correct the {name} here or add it there", cell::show(cell));
                (!said).then_some((number, message))
            })?;
        }
        Ok(row)
    }

    /// Puts the rows into each other and has the model judge the document.
    fn finish(mut self) -> Result<Survey, ConvertError> {
        let mut pointers = vec![vec![String::new()]];
        let mut sequences = vec![Vec::new()];
        for (index, table) in self.plan.tables.iter().enumerate() {
            let file = self.places.file(&table.file());
            if index > 0 {
                let sequence = self.sequence(table, index);
                let above = table.parent.and_then(|parent| pointers.get(parent)).map_or(&[][..], Vec::as_slice);
                pointers.push(self.pointers(table, index, &sequence, above));
                sequences.push(sequence);
            }
            for (row, pointer) in self.loads[index].rows.iter().zip(&pointers[index]) {
                self.places.record(pointer, file, row.line, 0);
            }
        }
        let mut own = self.faults(&pointers);
        own.append(&mut self.astray);
        let value = self.nest(sequences);
        judge(value, self.places, own, self.plan)
    }

    /// The rows of a table in the order of their lists, those of one list together.
    fn sequence(&mut self, table: &Table, index: usize) -> Vec<usize> {
        let rows = &self.loads[index].rows;
        let mut sequence: Vec<usize> = (0..rows.len()).collect();
        sequence.sort_by_key(|row| (rows[*row].parent, rows[*row].order));
        let mut twice = Vec::new();
        if table.ordered {
            for pair in sequence.windows(2) {
                let (first, second) = (&rows[pair[0]], &rows[pair[1]]);
                if (first.parent, first.order) == (second.parent, second.order) {
                    let message = format!(
                        "order {} stands here and in line {} for one and the same list; number its rows 1, 2, 3 …",
                        second.order, first.line
                    );
                    let column = (self.loads[index].order, ORDER);
                    twice.push(astray(table, second.line, column, message));
                }
            }
        }
        self.astray.append(&mut twice);
        sequence
    }

    fn pointers(&self, table: &Table, index: usize, sequence: &[usize], above: &[String]) -> Vec<String> {
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

    fn faults(&mut self, pointers: &[Vec<String>]) -> Vec<PlacedProblem> {
        let mut problems = Vec::new();
        for (index, loaded) in self.loads.iter_mut().enumerate() {
            for (row, fault) in std::mem::take(&mut loaded.faults) {
                let Fault { kind, below, column, heading, message } = fault;
                let pointer = format!("{}{below}", pointers[index][row]);
                let (column, heading) = (Some(column).filter(|column| *column > 0), Some(heading));
                let line = loaded.rows[row].line;
                let place = Some(Place { file: self.plan.tables[index].file(), line, column, heading });
                let problem = Problem { kind, pointer, line: 0, column: 0, message, suggestion: None, fix: None };
                problems.push(PlacedProblem { place, problem });
            }
        }
        problems
    }

    fn nest(&mut self, sequences: Vec<Vec<usize>>) -> Value {
        for (index, sequence) in sequences.into_iter().enumerate().skip(1).rev() {
            let table = &self.plan.tables[index];
            let mut rows = std::mem::take(&mut self.loads[index].rows);
            let Some(holders) = table.parent.map(|parent| &mut self.loads[parent].rows) else { continue };
            for row in sequence {
                let Row { parent, value, .. } = &mut rows[row];
                if let Some(list) = holders.get_mut(*parent).and_then(|holder| list(&mut holder.value, &table.below)) {
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

/// A row that has no place in the document: where it would stand, nobody knows.
fn astray(table: &Table, line: usize, (column, heading): (Option<usize>, &str), message: String) -> PlacedProblem {
    let pointer: String = table.path.iter().map(|key| format!("/{key}/-")).collect();
    let column = column.map(|column| column + 1);
    let place = Some(Place { file: table.file(), line, column, heading: Some(heading.to_owned()) });
    let problem =
        Problem { kind: ProblemKind::RowAstray, pointer, line: 0, column: 0, message, suggestion: None, fix: None };
    PlacedProblem { place, problem }
}

/// The list at the end of a path of keys, made where there is none.
fn list<'v>(value: &'v mut Value, keys: &[String]) -> Option<&'v mut Vec<Value>> {
    let (last, above) = keys.split_last()?;
    let mut object = value.as_object_mut()?;
    for key in above {
        object = object.entry(key.clone()).or_insert_with(|| Value::Object(Map::new())).as_object_mut()?;
    }
    object.entry(last.clone()).or_insert_with(|| Value::Array(Vec::new())).as_array_mut()
}

fn judge(value: Value, places: SourceMap, own: Vec<PlacedProblem>, plan: &Plan) -> Result<Survey, ConvertError> {
    let mut rest = None;
    let found = match crate::typed(value, places) {
        Ok(survey) if own.is_empty() => return Ok(survey),
        Ok(survey) => {
            let value = serde_json::to_value(&survey.document).unwrap_or_default();
            rest = Some(Unsound { value, places: survey.places });
            Vec::new()
        }
        Err(ConvertError::Structure(found)) => {
            let (found, unsound) = found.into_parts();
            rest = unsound;
            found
        }
        Err(other) if own.is_empty() => return Err(other),
        Err(_) => Vec::new(),
    };
    // What was seen in a cell is said better there than by the model, which sees what became of it.
    let key = |placed: &PlacedProblem| (placed.problem.pointer.clone(), placed.problem.kind == ProblemKind::MissingKey);
    let astray = |placed: &&PlacedProblem| placed.problem.kind != ProblemKind::RowAstray;
    let said: HashSet<(String, bool)> = own.iter().filter(astray).map(key).collect();
    let mut all = own;
    all.extend(found.into_iter().filter(|placed| !said.contains(&key(placed))));
    let files: HashMap<String, usize> =
        plan.tables.iter().enumerate().map(|(index, table)| (table.file(), index)).collect();
    all.sort_by_key(|placed| match &placed.place {
        Some(place) => (files.get(&place.file).copied(), place.line, place.column),
        None => (None, 0, None),
    });
    Err(ConvertError::Structure(Problems::new(all, rest)))
}
