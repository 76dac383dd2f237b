//! From tables to a document. Every table becomes rows of JSON values first; then the rows find
//! their place in the row that holds them, and the model judges the whole, each problem placed at
//! its file, line and column.

use std::borrow::Cow;
use std::collections::{BTreeMap, HashMap, HashSet};

use obvert_model::edit::token;
use obvert_model::read::{Problem, ProblemKind};
use obvert_model::text::nearest;
use serde_json::{Map, Value};

use super::plan::{ORDER, Plan, Table, plan};
use super::sheet::{Fault, Loaded, Row, Sheet, Twice};
use super::{Rows, cell};
use crate::{ConvertError, Judged, Location, PlacedProblem, Problems, SourceMap, Survey};

/// Reads the tables, one for each of the plan where there is one. `names` says how the file or
/// sheet of a table is called in messages and places, and `strangers` are those beside them that
/// are no tables of the plan.
///
/// # Errors
/// When the tables do not fit together or do not describe a valid document.
pub(crate) fn read<R: Rows>(
    sources: Vec<Option<R>>,
    names: Names,
    strangers: &[Stranger],
) -> Result<Survey, ConvertError> {
    let plan = plan();
    let absent = plan.tables.iter().zip(&sources).filter(|(_, source)| source.is_none());
    let absent: Vec<(&'static Table, String)> =
        absent.map(|(table, _)| (table, names(table))).collect();
    let header = strangers.iter().map(|stranger| stranger.problem(&absent)).collect();
    let astray = Vec::new();
    let missing = BTreeMap::new();
    let mut reader = Reader {
        plan,
        names,
        places: SourceMap::default(),
        loads: Vec::new(),
        header,
        astray,
        missing,
    };
    let mut open = Vec::new();
    for (table, source) in plan.tables.iter().zip(sources) {
        open.push(source.map(|rows| {
            let name = names(table);
            let number = reader.places.file(&name);
            (
                Sheet::new(table, (number, &name), &rows, &mut reader.places, &mut reader.header),
                rows,
            )
        }));
    }
    // Cells under headings that are not understood would be misjudged. A column beside those of the
    // table is passed over.
    let beside = |placed: &PlacedProblem| {
        placed.problem.kind == ProblemKind::UnknownKey && placed.problem.suggestion.is_none()
    };
    if !reader.header.iter().all(beside) {
        return Err(ConvertError::Structure(Problems::new(reader.header, None)));
    }
    reader.astray.append(&mut reader.header);
    for sheet in open {
        reader.load(sheet)?;
    }
    reader.finish()
}

/// A file, sheet or table that is none of the format's.
pub(crate) struct Stranger {
    pub(crate) name: String,
    /// Its headings, as far as they can be read.
    pub(crate) headings: Vec<String>,
}

impl Stranger {
    /// What is wrong with it. `absent` are the tables that are not there, one of which it may be:
    /// by its columns or its name.
    fn problem(&self, absent: &[(&'static Table, String)]) -> PlacedProblem {
        let name = &self.name;
        let by_name = nearest(name, absent.iter().map(|(_, name)| name.as_str()));
        let by_columns = if by_name.is_none() { self.by_columns(absent) } else { None };
        let near = by_name.or(by_columns);
        let message = match (by_columns, near) {
            (Some(table), _) => {
                format!("no table of the format has this name, and its columns are those of {table}; give it that name")
            }
            (None, Some(_)) => "no table of the format has this name".to_owned(),
            (None, None) => "no table of the format has this name, so nothing in it is read; give it the name of its table, or take it \
                             out if it is none"
                .to_owned(),
        };
        let pointer = format!("/-/{}", token(name));
        let suggestion = near.map(str::to_owned);
        let problem =
            Problem { suggestion, ..Problem::new(ProblemKind::UnknownKey, pointer, message) };
        PlacedProblem {
            place: Some(Location { file: name.clone(), line: 1, column: None, heading: None }),
            problem,
        }
    }

    /// The table whose columns it has, where no other fits as well: every one that the table must
    /// have, and most of its own.
    fn by_columns<'n>(&self, absent: &'n [(&'static Table, String)]) -> Option<&'n str> {
        let has = |heading: &String| self.headings.contains(heading);
        let known = |table: &Table| {
            self.headings.iter().filter(|own| table.headings().any(|known| known == **own)).count()
        };
        let needed = |table: &'static Table| {
            let columns =
                table.columns.iter().filter(|column| column.required).map(|column| &column.heading);
            columns.chain(table.keys.iter().map(|key| &key.heading))
        };
        let fitting = absent.iter().filter(|(table, _)| needed(table).all(has));
        let mut fitting: Vec<(usize, &str)> =
            fitting.map(|(table, name)| (known(table), name.as_str())).collect();
        fitting.sort_by_key(|(known, _)| std::cmp::Reverse(*known));
        match fitting.as_slice() {
            [(best, _), (second, _), ..] if best == second => None,
            [(best, name), ..] if *best >= 2 && best * 3 >= self.headings.len() * 2 => Some(name),
            _ => None,
        }
    }
}

/// How the file or sheet of a table is called.
pub(crate) type Names = fn(&Table) -> String;

/// An error at a line of a file.
pub(crate) fn format_error(file: &str, line: usize, message: impl Into<String>) -> ConvertError {
    let place = Location { file: file.to_owned(), line, column: None, heading: None };
    ConvertError::Form { place: Some(place), message: message.into() }
}

struct Reader {
    plan: &'static Plan,
    names: Names,
    places: SourceMap,
    loads: Vec<Loaded>,
    header: Vec<PlacedProblem>,
    /// Rows that have no place in the document.
    astray: Vec<PlacedProblem>,
    /// Rows of tables whose holders are in a table that has none, by that table and theirs: how
    /// many, and the place of the first.
    missing: BTreeMap<(usize, usize), (usize, Location)>,
}

/// Why a row has no holder.
enum Homeless {
    /// What is wrong in which of its key columns.
    Cell(usize, String),
    /// The table of its holder has no rows at all, or of a holder of that; and the key column that
    /// names it.
    Missing(usize, usize),
    /// Its holder has no place itself, which is said once.
    Said,
}

impl Reader {
    /// Reads the rows of the next table of the plan.
    fn load<R: Rows>(&mut self, open: Option<(Sheet, R)>) -> Result<(), ConvertError> {
        let index = self.loads.len();
        let table = &self.plan.tables[index];
        let order = open.as_ref().and_then(|(sheet, _)| sheet.order_at());
        let mut loaded = Loaded { order, there: open.is_some(), ..Loaded::default() };
        if let Some(parent) = table.parent {
            loaded.index.resize_with(self.loads[parent].rows.len(), HashMap::new);
        }
        if let Some((sheet, mut records)) = open {
            let mut last: Option<(Vec<String>, Option<usize>)> = None;
            let mut count = 0;
            while let Some((line, record)) = records.next_row()? {
                count += 1;
                let parent = match &last {
                    Some((cells, row))
                        if sheet.keys(record).eq(cells.iter().map(String::as_str)) =>
                    {
                        *row
                    }
                    _ => {
                        let cells: Vec<String> = sheet.keys(record).map(Cow::into_owned).collect();
                        let row = self.holder(table, &cells);
                        let known = row.as_ref().ok().copied();
                        let column =
                            |key: usize| (sheet.key(key), table.keys[key].heading.as_str());
                        match row {
                            Err(Homeless::Cell(key, message)) => {
                                self.stray(table, line, column(key), message)
                            }
                            Err(Homeless::Missing(holder, key)) => {
                                let place = self.place(table, line, column(key));
                                self.missing.entry((holder, index)).or_insert((0, place)).0 += 1;
                            }
                            Ok(_) | Err(Homeless::Said) => {}
                        }
                        // Further rows of a holder that is missing are told of one by one as well.
                        last = known.map(|row| (cells, Some(row)));
                        known
                    }
                };
                let order = sheet.order(record);
                if let Err(message) = &order {
                    self.stray(table, line, (sheet.order_at(), ORDER), message.clone());
                }
                let (Some(parent), Ok(order)) = (parent, order) else {
                    loaded.lost = true;
                    if let Some(id) = sheet.id(record).filter(|_| table.parent.is_some()) {
                        loaded.astray.insert(id.into_owned());
                    }
                    continue;
                };
                let row = loaded.rows.len();
                let (value, faults) = sheet.row(record);
                let own = if table.ordered {
                    Some(order.to_string())
                } else {
                    sheet.id(record).map(Cow::into_owned)
                };
                let known =
                    own.as_ref().and_then(|own| loaded.index.get(parent)?.get(own).copied());
                if let Some(of) = known.filter(|of| loaded.rows[*of].value == value) {
                    loaded.again(of, line, count);
                    continue;
                }
                loaded.faults.extend(faults.into_iter().map(|fault| (row, fault)));
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
            return Err(format_error(
                &(self.names)(table),
                line,
                format!("the document is one row below the headings; found {found}"),
            ));
        }
        self.loads.push(loaded);
        Ok(())
    }

    /// The row that holds what has these cells in its key columns.
    fn holder(&self, table: &Table, cells: &[String]) -> Result<usize, Homeless> {
        let mut chain = Vec::new();
        let mut at = table.parent;
        while let Some(index) = at.filter(|index| *index > 0) {
            chain.push(index);
            at = self.plan.tables[index].parent;
        }
        let mut row = 0;
        for (number, ((cell, key), index)) in
            cells.iter().zip(&table.keys).zip(chain.iter().rev()).enumerate()
        {
            let name = &key.heading;
            if cell.is_empty() {
                let message = format!(
                    "the column {name:?} is empty; it must say which {name} the row belongs to"
                );
                return Err(Homeless::Cell(number, message));
            }
            let holders = &self.loads[*index];
            if holders.rows.is_empty() && !holders.lost {
                return Err(Homeless::Missing(*index, number));
            }
            let found = self.loads[*index].index.get(row).and_then(|rows| rows.get(cell));
            row = *found.ok_or_else(|| {
                let file = (self.names)(&self.plan.tables[*index]);
                if holders.astray.contains(cell) {
                    return Homeless::Said;
                }
                // What it stands in tells it from others of its name.
                let above = number
                    .checked_sub(1)
                    .and_then(|above| Some((table.keys.get(above)?, cells.get(above)?)));
                let within = above.map_or_else(String::new, |(key, cell)| {
                    format!(" in {} {}", key.heading, cell::show(cell))
                });
                let message = format!(
                    "{file} has no {name} {}{within}; correct the {name} here or add it there",
                    cell::show(cell)
                );
                Homeless::Cell(number, message)
            })?;
        }
        Ok(row)
    }

    /// Puts the rows into each other and has the model judge the document.
    fn finish(mut self) -> Result<Survey, ConvertError> {
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
        self.missing();
        self.twice(&pointers);
        let mut own = self.faults(&pointers);
        own.append(&mut self.astray);
        let value = self.nest(sequences);
        judge(value, self.places, own, self.plan, self.names)
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
                    twice.push((second.line, column, message));
                }
            }
        }
        for (line, column, message) in twice {
            self.stray(table, line, column, message);
        }
        sequence
    }

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

    /// Says of rows that stand in their table again that they do: once of those in succession.
    fn twice(&mut self, pointers: &[Vec<String>]) {
        for (index, loaded) in self.loads.iter_mut().enumerate() {
            for Twice { of, rows, lines: (from, to), .. } in std::mem::take(&mut loaded.twice) {
                let above = |row: usize| loaded.rows.get(row).map_or(0, |row| row.line);
                let message = match rows {
                    1 => format!("the row says the same as row {}, cell by cell", above(of)),
                    _ => format!(
                        "rows {from} to {to} say the same as rows {} to {}, cell by cell",
                        above(of),
                        above(of + rows - 1)
                    ),
                };
                let file = (self.names)(&self.plan.tables[index]);
                let place = Some(Location { file, line: from, column: None, heading: None });
                let (kind, pointer) = (ProblemKind::DuplicateRow, pointers[index][of].clone());
                let problem = Problem::new(kind, pointer, message);
                self.astray.push(PlacedProblem { place, problem });
            }
        }
    }

    /// Says of each table that has no rows, while rows of others belong to some, that it is
    /// missing: once, and not for every row.
    fn missing(&mut self) {
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
            let what = if self.loads[holder].there { "has no rows" } else { "is missing" };
            let belong = if all == 1 { "belongs" } else { "belong" };
            let message = format!(
                "{} {what}, and {parts} {belong} to its rows; put them back, or take out what belongs to them",
                (self.names)(table)
            );
            let pointer: String = table.path.iter().map(|key| format!("/{key}/-")).collect();
            let pointer = pointer.trim_end_matches("/-").to_owned();
            let kind = ProblemKind::OrphanRow;
            let problem = Problem::new(kind, pointer, message);
            self.astray.push(PlacedProblem { place: Some(place), problem });
        }
    }

    fn place(
        &self,
        table: &Table,
        line: usize,
        (column, heading): (Option<usize>, &str),
    ) -> Location {
        let column = column.map(|column| column + 1);
        Location { file: (self.names)(table), line, column, heading: Some(heading.to_owned()) }
    }

    /// Notes a row that has no place in the document: where it would stand, nobody knows.
    fn stray(
        &mut self,
        table: &Table,
        line: usize,
        column: (Option<usize>, &str),
        message: String,
    ) {
        let pointer: String = table.path.iter().map(|key| format!("/{key}/-")).collect();
        let place = Some(self.place(table, line, column));
        let kind = ProblemKind::OrphanRow;
        let problem = Problem::new(kind, pointer, message);
        self.astray.push(PlacedProblem { place, problem });
    }

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

/// The list at the end of a path of keys, made where there is none.
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

fn judge(
    value: Value,
    places: SourceMap,
    own: Vec<PlacedProblem>,
    plan: &Plan,
    names: Names,
) -> Result<Survey, ConvertError> {
    let (found, rest) = match crate::typed_beside(value, places, &own)? {
        Judged::Sound(survey) => return Ok(*survey),
        Judged::Unsound(found, rest) => (found, rest.map(|rest| *rest)),
    };
    // What was seen in a cell is said better there than by the model, which sees what became of it.
    let key = |placed: &PlacedProblem| {
        (placed.problem.pointer.clone(), placed.problem.kind == ProblemKind::MissingKey)
    };
    let of_value = |placed: &&PlacedProblem| {
        !matches!(placed.problem.kind, ProblemKind::OrphanRow | ProblemKind::DuplicateRow)
    };
    let said: HashSet<(String, bool)> = own.iter().filter(of_value).map(key).collect();
    let mut all = own;
    all.extend(found.into_iter().filter(|placed| !said.contains(&key(placed))));
    let files: HashMap<String, usize> =
        plan.tables.iter().enumerate().map(|(index, table)| (names(table), index)).collect();
    all.sort_by_key(|placed| match &placed.place {
        Some(place) => (files.get(&place.file).copied(), place.line, place.column),
        None => (None, 0, None),
    });
    Err(ConvertError::Structure(Problems::new(all, rest)))
}
