//! From the rows of a table to a document: rows of one pipe and one run are put together, stretches closed, and what follows
//! from the rows is added. A row or cell that cannot be read is a problem with its place, and nothing of it is guessed.

use std::collections::{BTreeMap, HashMap, HashSet};

use obvert_model::layout::{Column, Layout};
use obvert_model::lists::{Code, CodeList, Family, Role};
use obvert_model::profile::Scalar;
use obvert_model::read::{Problem, ProblemKind};
use obvert_model::tables::{MediaKind, StopReason};
use serde_json::{Map, Value, json};

use super::row::{Cell, Row};
use super::{at, fill, implied_unit, put, said, sheet};
use crate::{ConvertError, LossKind, LossReport, Place, PlacedProblem, Problems, SourceMap, Survey, Unsound};

/// Reads a table by a layout. The report says what the table has that is not in the document, and what the layout put in.
///
/// `name` is how places call the file; `lists` are code lists beside the built-in ones, of which the units of amounts and
/// the aspects of grades are taken.
///
/// # Errors
/// When the bytes are no table such as the layout describes; with every cell and row that cannot be read; or when what was read is
/// no valid document.
pub fn read(
    source: &[u8],
    name: &str,
    layout: &Layout,
    lists: &[CodeList],
) -> Result<(Survey, LossReport), ConvertError> {
    let sheet = sheet::read(source, name, layout)?;
    let mut reader = Reader::new(name, layout, super::code_list(layout, lists));
    if let Some(encoding) = sheet.marked {
        let message =
            format!("the table begins with a byte-order mark, so it was read as {encoding} whatever the layout says");
        reader.report.note("", message);
    }
    let columns = reader.columns(&sheet.headings);
    for (line, cells) in &sheet.rows {
        reader.row(*line, cells, &columns);
    }
    reader.finish()
}

struct Reader<'l> {
    name: &'l str,
    layout: &'l Layout,
    codes: HashMap<&'l str, &'l Code>,
    file: u32,
    places: SourceMap,
    problems: Vec<PlacedProblem>,
    report: LossReport,
    headings: Vec<String>,
    tables: BTreeMap<&'static str, Vec<Map<String, Value>>>,
    /// Where a row of a table stands, by table and id.
    known: HashMap<(&'static str, String), usize>,
    /// The line that set a field of a pipe or run, by pointer.
    lines: HashMap<String, usize>,
    /// Stretches that are open, by run and mark.
    open: HashMap<(usize, String), usize>,
    /// Columns that lead nowhere and had something in them.
    dropped: HashSet<usize>,
    last: Option<Row>,
}

impl<'l> Reader<'l> {
    fn new(name: &'l str, layout: &'l Layout, list: Option<&'l CodeList>) -> Self {
        let mut places = SourceMap::default();
        let file = places.file(name);
        let codes = list.iter().flat_map(|list| &list.codes).map(|code| (code.code.as_str(), code)).collect();
        Self {
            name,
            layout,
            codes,
            file,
            places,
            problems: Vec::new(),
            report: LossReport::default(),
            headings: Vec::new(),
            tables: BTreeMap::new(),
            known: HashMap::new(),
            lines: HashMap::new(),
            open: HashMap::new(),
            dropped: HashSet::new(),
            last: None,
        }
    }

    fn problem(&mut self, kind: ProblemKind, (line, column): (usize, usize), pointer: &str, message: String) {
        let heading = column.checked_sub(1).and_then(|index| self.headings.get(index)).cloned();
        let place = Place { file: self.name.to_owned(), line, column: (column > 0).then_some(column), heading };
        let problem =
            Problem { kind, pointer: pointer.to_owned(), line: 0, column: 0, message, suggestion: None, fix: None };
        self.problems.push(PlacedProblem { place: Some(place), problem });
    }

    /// The column of the layout for each heading of the file.
    fn columns(&mut self, headings: &[String]) -> Vec<Option<&'l Column>> {
        self.headings = headings.to_vec();
        let layout = self.layout;
        let mut columns: Vec<Option<&Column>> = Vec::new();
        for (index, heading) in headings.iter().enumerate() {
            self.places.column(self.file, index + 1, heading);
            let column = layout.columns.iter().find(|column| *column.heading == **heading);
            if column.is_none() {
                let message = format!(
                    "the layout {} has no column {heading:?}; add it there, with drop if it has no place",
                    layout.id
                );
                self.problem(ProblemKind::UnknownKey, (1, index + 1), "", message);
            } else if headings[..index].contains(heading) {
                self.problem(
                    ProblemKind::DuplicateKey,
                    (1, index + 1),
                    "",
                    format!("the heading {heading:?} stands twice"),
                );
            }
            columns.push(column);
        }
        for column in &layout.columns {
            if !headings.iter().any(|heading| **heading == *column.heading) {
                let message =
                    format!("the table has no column {:?}, which the layout {} describes", column.heading, layout.id);
                self.problem(ProblemKind::MissingKey, (1, 0), "", message);
            }
        }
        columns
    }

    fn row(&mut self, line: usize, cells: &[String], columns: &[Option<&Column>]) {
        if cells.len() != columns.len() {
            let message = format!(
                "the row has {} cells where there are {} headings, so it was not read; a cell with {:?} in it must stand in quotation marks",
                cells.len(),
                columns.len(),
                &*self.layout.table.delimiter
            );
            self.problem(ProblemKind::RowAstray, (line, 0), "", message);
            return;
        }
        for (index, (cell, column)) in cells.iter().zip(columns).enumerate() {
            if column.is_some_and(|column| column.drop.is_some()) && !cell.trim().is_empty() {
                self.dropped.insert(index);
            }
        }
        let (mut row, wrong) = Row::read(cells, columns, self.layout);
        row.complete(self.layout);
        let (Some(pipe), Some(run)) = (row.text("pipes.id"), row.text("runs.id")) else {
            for (column, _, message) in wrong {
                self.problem(ProblemKind::TextForm, (line, column), "", message);
            }
            self.problem(
                ProblemKind::RowAstray,
                (line, 0),
                "",
                "the row names no pipe or no run, so it was not read".to_owned(),
            );
            return;
        };
        let pipe = self.merge("pipes", &pipe, &row, line);
        let run_id = run;
        let run = self.merge("runs", &run_id, &row, line);
        self.set(&format!("/runs/{run}/pipe"), "runs", run, "pipe", &(row.fields["pipes.id"].clone()), line);
        self.references(&row, line);
        let next = self.tables["runs"][run].get("observations").and_then(Value::as_array).map_or(0, Vec::len);
        for (column, path, message) in wrong {
            let (table, index) = if path.starts_with("pipes.") { ("pipes", pipe) } else { ("runs", run) };
            let below = match path.strip_prefix("runs.observations.") {
                Some(below) => format!("observations/{next}/{}", below.replace('.', "/")),
                None => path.split_once('.').map_or("", |(_, below)| below).replace('.', "/"),
            };
            self.problem(ProblemKind::TextForm, (line, column), &format!("/{table}/{index}/{below}"), message);
        }
        if row.is_observation() {
            self.observation(&row, run, &run_id, line);
        }
        self.last = Some(row);
    }

    /// Adds what a row says of a pipe or run, and gives its place in the table.
    fn merge(&mut self, table: &'static str, id: &str, row: &Row, line: usize) -> usize {
        let rows = self.tables.entry(table).or_default();
        let index = *self.known.entry((table, id.to_owned())).or_insert_with(|| {
            rows.push(Map::new());
            rows.len() - 1
        });
        let pointer = format!("/{table}/{index}");
        if self.places.place(&pointer).is_none() {
            self.places.record(&pointer, self.file, line, 0);
        }
        for (below, cell) in row.of(table) {
            self.set(&format!("{pointer}/{}", below.replace('.', "/")), table, index, below, cell, line);
        }
        if let Some(extensions) = row.extensions(table, self.layout) {
            self.tables.entry(table).or_default()[index].insert("extensions".to_owned(), extensions);
        }
        index
    }

    /// Sets a field of a pipe or run, or says that an earlier row has it otherwise.
    fn set(
        &mut self,
        pointer: &str,
        table: &'static str,
        index: usize,
        below: &str,
        (value, column): &Cell,
        line: usize,
    ) {
        let Some(object) = self.tables.get_mut(table).and_then(|rows| rows.get_mut(index)) else { return };
        let whole = Value::Object(std::mem::take(object));
        let earlier = at(&whole, below).cloned();
        if let Value::Object(mut back) = whole {
            if earlier.is_none() {
                put(&mut back, &below.split('.').collect::<Vec<_>>(), value.clone());
            }
            *object = back;
        }
        match earlier {
            None => {
                self.places.record(pointer, self.file, line, *column);
                self.lines.insert(pointer.to_owned(), line);
            }
            Some(earlier) if earlier != *value => {
                let what = if table == "pipes" { "pipe" } else { "run" };
                let at = self.lines.get(pointer).copied().unwrap_or(0);
                let message = format!(
                    "{} where line {at} has {} for the same {what}; correct one of them",
                    said(value),
                    said(&earlier)
                );
                self.problem(ProblemKind::TextForm, (line, *column), pointer, message);
            }
            Some(_) => {}
        }
    }

    /// Adds a row to a table unless it is there.
    fn add(&mut self, table: &'static str, id: &str, more: Map<String, Value>, line: usize, column: usize) {
        if self.known.contains_key(&(table, id.to_owned())) {
            return;
        }
        let rows = self.tables.entry(table).or_default();
        let mut object = Map::new();
        object.insert("id".to_owned(), id.into());
        object.extend(more);
        self.known.insert((table, id.to_owned()), rows.len());
        self.places.record(&format!("/{table}/{}", rows.len()), self.file, line, column);
        rows.push(object);
    }

    /// Structures and parties that the row names.
    fn references(&mut self, row: &Row, line: usize) {
        for path in ["pipes.upstream", "pipes.downstream", "runs.from", "runs.to"] {
            if let Some((value, column)) = row.fields.get(path) {
                self.add("structures", &said(value), Map::new(), line, *column);
            }
        }
        if let Some((value, column)) = row.fields.get("runs.operator") {
            let name = Map::from_iter([("name".to_owned(), value.clone())]);
            self.add("parties", &said(value), name, line, *column);
        }
    }

    fn observation(&mut self, row: &Row, run: usize, run_id: &str, line: usize) {
        let mut observation = row.observation();
        let next = self.tables["runs"][run].get("observations").and_then(Value::as_array).map_or(0, Vec::len);
        let pointer = format!("/runs/{run}/observations/{next}");
        if let Some(extensions) = row.extensions("runs.observations", self.layout) {
            observation.insert("extensions".to_owned(), extensions);
        }
        let code = row.text("runs.observations.code").and_then(|code| self.codes.get(code.as_str()).copied());
        let characterisation: Vec<String> = row.characterisation.values().map(|(value, _)| said(value)).collect();
        if row.characterisation.keys().enumerate().any(|(index, place)| index != *place) {
            let column = row.characterisation.values().next().map_or(0, |(_, column)| *column);
            let message = "a later characterisation is given and an earlier one is blank".to_owned();
            self.problem(ProblemKind::TextForm, (line, column), &format!("{pointer}/characterisation"), message);
        }
        if !characterisation.is_empty() {
            observation.insert("characterisation".to_owned(), characterisation.clone().into());
        }
        let mut quantities = Vec::new();
        for (place, (value, unit, column)) in &row.amounts {
            let below = format!("{pointer}/quantities/{place}");
            match unit.or_else(|| implied_unit(code, &characterisation, *place)) {
                Some(unit) if *place == quantities.len() => quantities.push(json!({"value": value, "unit": unit})),
                Some(_) => {
                    let message = "an earlier amount is blank, so this one has no place".to_owned();
                    self.problem(ProblemKind::TextForm, (line, *column), &below, message);
                }
                None => {
                    let message =
                        format!("found {value} without a unit; the code list has none for an amount of this code here");
                    self.problem(ProblemKind::TextForm, (line, *column), &below, message);
                }
            }
        }
        if !quantities.is_empty() {
            observation.insert("quantities".to_owned(), quantities.into());
        }
        if let Some((value, column)) = &row.grade {
            match code.map(|code| code.family) {
                Some(Family::Structural) => put(&mut observation, &["grades", "structural"], value.clone()),
                Some(Family::Operational) => put(&mut observation, &["grades", "operational"], value.clone()),
                _ => {
                    let message = "a grade of a code that is neither structural nor operational".to_owned();
                    self.problem(ProblemKind::TextForm, (line, *column), &format!("{pointer}/grades"), message);
                }
            }
        }
        let media = self.media(row, run_id, line);
        if !media.is_empty() {
            observation.insert("media".to_owned(), media.into());
        }
        if let Some((mark, column)) = &row.stretch
            && self.stretch(mark, &mut observation, run, next, (line, *column))
        {
            return;
        }
        if !observation.contains_key("id") {
            observation.insert("id".to_owned(), (next + 1).to_string().into());
        }
        self.outcome(&observation, code, run, line);
        self.places.record(&pointer, self.file, line, 0);
        let cells = row.of("runs.observations").map(|(below, (_, column))| (below.replace('.', "/"), *column));
        let amounts = row.amounts.iter().map(|(place, (.., column))| (format!("quantities/{place}"), *column));
        let values =
            row.characterisation.iter().map(|(place, (_, column))| (format!("characterisation/{place}"), *column));
        let grade = row.grade.iter().map(|(_, column)| ("grades".to_owned(), *column));
        let files = row.files.iter().enumerate().map(|(index, (.., column))| (format!("media/{index}"), *column));
        for (below, column) in cells.chain(amounts).chain(values).chain(grade).chain(files) {
            self.places.record(&format!("{pointer}/{below}"), self.file, line, column);
        }
        if let Some((_, column)) = row.fields.get("runs.observations.media.offset") {
            self.places.record(&format!("{pointer}/media/{}", row.files.len()), self.file, line, *column);
        }
        // A position in the first of two columns alone became a point, whose place is that column.
        for (from, to) in [("clock/from", "clock/at"), ("clock/from", "clock")] {
            if let Some((_, column)) = row.fields.get(&format!("runs.observations.{}", from.replace('/', "."))) {
                self.places.record(&format!("{pointer}/{to}"), self.file, line, *column);
            }
        }
        if let Some(list) = self.observations(run) {
            list.push(Value::Object(observation));
        }
    }

    fn observations(&mut self, run: usize) -> Option<&mut Vec<Value>> {
        let run = self.tables.get_mut("runs")?.get_mut(run)?;
        run.entry("observations").or_insert_with(|| Value::Array(Vec::new())).as_array_mut()
    }

    /// The media that a row names, each also a row of the table of media.
    fn media(&mut self, row: &Row, run: &str, line: usize) -> Vec<Value> {
        let mut found = Vec::new();
        let more = |file: &str, kind: MediaKind| {
            Map::from_iter([
                ("file".to_owned(), file.into()),
                ("kind".to_owned(), kind.as_str().into()),
                ("run".to_owned(), run.into()),
            ])
        };
        for (file, kind, column) in &row.files {
            self.add("media", file, more(file, *kind), line, *column);
            found.push(json!({"id": file}));
        }
        let video = self.layout.video.as_deref().and_then(|text| fill(text, &|path| row.text(path)));
        if let (Some((offset, column)), Some(file)) = (row.fields.get("runs.observations.media.offset"), video) {
            self.add("media", &file, more(&file, MediaKind::Video), line, *column);
            found.push(json!({"id": file, "offset": offset}));
        }
        found
    }

    /// Opens or closes a stretch; whether the row only ends one and is no observation of its own.
    fn stretch(
        &mut self,
        mark: &str,
        observation: &mut Map<String, Value>,
        run: usize,
        next: usize,
        place: (usize, usize),
    ) -> bool {
        let Some(stretches) = &self.layout.stretches else { return false };
        let number = |pattern: &str| {
            let (before, after) = pattern.split_once('#')?;
            let number = mark.strip_prefix(before)?.strip_suffix(after)?;
            (!number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit())).then(|| number.to_owned())
        };
        let pointer = format!("/runs/{run}/observations/{next}");
        if let Some(number) = number(&stretches.start) {
            observation.insert("continuous".to_owned(), true.into());
            if self.open.insert((run, number), next).is_some() {
                let message =
                    format!("found {mark:?}, which begins a stretch that this run has not ended; end it or count on");
                self.problem(ProblemKind::RowAstray, place, &pointer, message);
            }
            return false;
        }
        let Some(number) = number(&stretches.finish) else {
            let message =
                format!("found {mark:?}; expected {} or {}, with a number for #", stretches.start, stretches.finish);
            self.problem(ProblemKind::TextForm, place, &pointer, message);
            return false;
        };
        let Some(start) = self.open.remove(&(run, number)) else {
            let message = format!("found {mark:?}, which ends a stretch that no row of this run before it begins");
            self.problem(ProblemKind::RowAstray, place, &pointer, message);
            return true;
        };
        let (line, file) = (place.0, self.file);
        let at_column = self.column_of("runs.observations.at");
        let Some(begun) = self.observations(run).and_then(|list| list.get_mut(start)).and_then(Value::as_object_mut)
        else {
            return true;
        };
        if let Some(to) = observation.remove("at") {
            begun.insert("to".to_owned(), to);
        }
        if let Some(Value::Array(more)) = observation.remove("media") {
            let media = begun.entry("media").or_insert_with(|| Value::Array(Vec::new()));
            media.as_array_mut().into_iter().for_each(|media| media.extend(more.clone()));
        }
        let other: Vec<String> = observation
            .iter()
            .filter(|(key, value)| begun.get(*key) != Some(*value))
            .map(|(key, _)| key.clone())
            .collect();
        let pointer = format!("/runs/{run}/observations/{start}");
        self.places.record(&format!("{pointer}/to"), file, line, at_column);
        for key in other {
            if key == "code" || key == "characterisation" {
                let message = "the row that ends the stretch is of another code than the one that begins it".to_owned();
                self.problem(
                    ProblemKind::TextForm,
                    (line, self.column_of("runs.observations.code")),
                    &pointer,
                    message,
                );
            } else {
                let message = format!(
                    "line {line}, which ends the stretch, has it otherwise; what stands where it begins counts"
                );
                self.report.add(LossKind::Dropped, format!("{pointer}/{key}"), message);
            }
        }
        true
    }

    /// The number of the column that leads to a field; 0 where none does.
    fn column_of(&self, path: &str) -> usize {
        let column = self.layout.columns.iter().find(|column| column.to.as_deref() == Some(path));
        let heading = column.map(|column| column.heading.as_str());
        self.headings.iter().position(|other| Some(other.as_str()) == heading).map_or(0, |index| index + 1)
    }

    /// How the run ended, where its rows say so.
    fn outcome(&mut self, observation: &Map<String, Value>, code: Option<&Code>, run: usize, line: usize) {
        if self.layout.outcome_from_codes != Some(true) {
            return;
        }
        let Some(role) = code.and_then(|code| code.role) else { return };
        let reason = observation.get("characterisation").and_then(|values| values.get(0)).and_then(Value::as_str);
        let outcome = match role {
            Role::Finish if code.is_some_and(|code| &*code.code == "run.met") => json!({"kind": "met"}),
            Role::Finish => json!({"kind": "reached"}),
            Role::Stopped => match reason.filter(|reason| StopReason::from_word(reason).is_some()) {
                Some(reason) => json!({"kind": "stopped", "reason": reason}),
                None => json!({"kind": "stopped"}),
            },
            _ => return,
        };
        let column = self.column_of("runs.observations.at");
        let Some(object) = self.tables.get_mut("runs").and_then(|runs| runs.get_mut(run)) else { return };
        object.insert("outcome".to_owned(), outcome);
        if let Some(at) = observation.get("at") {
            object.insert("surveyed".to_owned(), at.clone());
        }
        self.places.record(&format!("/runs/{run}/outcome"), self.file, line, 0);
        self.places.record(&format!("/runs/{run}/surveyed"), self.file, line, column);
    }

    /// Puts the document together.
    fn finish(mut self) -> Result<(Survey, LossReport), ConvertError> {
        if let Some(suffix) = self.layout.completed_by.as_deref() {
            let ids: HashSet<String> =
                self.known.keys().filter(|(table, _)| *table == "runs").map(|(_, id)| id.clone()).collect();
            for run in self.tables.get_mut("runs").into_iter().flatten() {
                let other = run.get("id").and_then(Value::as_str).and_then(|id| id.strip_suffix(suffix));
                if let Some(other) = other.filter(|other| ids.contains(*other)).map(str::to_owned) {
                    run.insert("reverse_of".to_owned(), other.into());
                }
            }
        }
        for index in &self.dropped {
            let heading = self.headings.get(*index).map_or("", String::as_str);
            let column = self.layout.columns.iter().find(|column| *column.heading == *heading);
            let why = column.and_then(|column| column.drop.as_deref()).unwrap_or_default();
            self.report.add(LossKind::Dropped, "", format!("the column {heading:?} is not carried over: {why}"));
        }
        let mut document = Map::from_iter([("obvert".to_owned(), obvert_model::versions::CURRENT.into())]);
        let last = self.last.take().unwrap_or_default();
        for made in &self.layout.made {
            let table = made.to.split('.').next().unwrap_or_default();
            if table == "pipes" || table == "runs" {
                continue;
            }
            if let Some(text) = fill(&made.text, &|path| last.text(path)) {
                if &*made.to == "issued" {
                    self.report.add(
                        LossKind::Defaulted,
                        "/issued",
                        "the table does not say it; the layout makes it from its last row",
                    );
                }
                put(&mut document, &made.to.split('.').collect::<Vec<_>>(), text.into());
            }
        }
        for fixed in &self.layout.fixed {
            let value = match &fixed.value {
                Scalar::Text(text) => Value::String(text.to_string()),
                Scalar::Number(value) => super::forms::number(*value),
                Scalar::Bool(value) => Value::Bool(*value),
            };
            let keys: Vec<&str> = fixed.to.split('.').collect();
            match keys.as_slice() {
                ["runs", "observations", below @ ..] => {
                    let runs = self.tables.get_mut("runs").into_iter().flatten();
                    let rows =
                        runs.filter_map(|run| run.get_mut("observations")).filter_map(Value::as_array_mut).flatten();
                    rows.filter_map(Value::as_object_mut).for_each(|row| absent(row, below, &value));
                }
                [table @ ("pipes" | "runs" | "structures" | "media" | "parties"), below @ ..] => {
                    let rows = self.tables.get_mut(*table).into_iter().flatten();
                    rows.for_each(|row| absent(row, below, &value));
                }
                keys => put(&mut document, keys, value),
            }
        }
        for (table, rows) in std::mem::take(&mut self.tables) {
            document.insert(table.to_owned(), rows.into_iter().map(Value::Object).collect());
        }
        judge(Value::Object(document), self.places, self.problems).map(|survey| (survey, self.report))
    }
}

/// Sets a value unless there is one.
fn absent(row: &mut Map<String, Value>, keys: &[&str], value: &Value) {
    let mut holder = Some(&*row);
    for key in &keys[..keys.len().saturating_sub(1)] {
        holder = holder.and_then(|holder| holder.get(*key)).and_then(Value::as_object);
    }
    if !holder.is_some_and(|holder| keys.last().is_some_and(|key| holder.contains_key(*key))) {
        put(row, keys, value.clone());
    }
}

/// The survey, or everything that is wrong: what was seen in a cell is said there and not again by the model, which sees
/// that a field is missing.
fn judge(value: Value, places: SourceMap, own: Vec<PlacedProblem>) -> Result<Survey, ConvertError> {
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
    let said = |placed: &PlacedProblem| {
        let missing = placed.problem.kind == ProblemKind::MissingKey;
        own.iter().any(|own| missing && own.problem.pointer.starts_with(&format!("{}/", placed.problem.pointer)))
    };
    let found: Vec<PlacedProblem> = found.into_iter().filter(|placed| !said(placed)).collect();
    let mut all = own;
    all.extend(found);
    all.sort_by_key(|placed| placed.place.as_ref().map(|place| (place.line, place.column)));
    Err(ConvertError::Structure(Problems::new(all, rest)))
}
