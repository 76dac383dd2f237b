//! From the rows of a table to a document: rows of one pipe and one run are put together, stretches closed, and what follows
//! from the rows is added. A row or cell that cannot be read is a problem with its place, and nothing of it is guessed.

use std::collections::{BTreeMap, HashMap};

use obvert_model::edit::token;
use obvert_model::layout::Layout;
use obvert_model::lists::{Code, CodeList};
use obvert_model::read::{Problem, ProblemKind};
use serde_json::{Map, Value};

use super::grid::{Grid, GridCell, GridRow, Spot};
use super::headed::repeated;
use super::row::{Cell, DOCUMENT, Row, Way};
use super::{cells, fill, needs, put, said};
use obvert_convert::{ConvertError, Location, Loss, LossKind, LossReport, PlacedProblem, SourceMap, Survey};

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
    read_all(&mut || grid(source, name, layout), name, layout, lists)
}

/// The rows of a file.
fn grid(source: &[u8], name: &str, layout: &Layout) -> Result<Grid, ConvertError> {
    match (&layout.table, &layout.xml) {
        #[cfg(feature = "xlsx")]
        (Some(table), _) if super::book::is_one(source) => super::book::read(source, name, layout, table),
        (Some(table), _) => cells::read(source, name, layout, table),
        (None, Some(xml)) => super::nested::read(source, name, layout, xml),
        (None, None) => {
            let message = format!("the layout {} says neither table nor xml; say how the file is written", layout.id);
            Err(ConvertError::Refused { message })
        }
    }
}

/// Reads rows that stand in a grid already, from whatever file, as [`read`] does.
///
/// # Errors
/// As [`read`].
pub fn read_rows(
    grid: &Grid,
    name: &str,
    layout: &Layout,
    lists: &[CodeList],
) -> Result<(Survey, LossReport), ConvertError> {
    read_all(&mut || Ok(grid.clone()), name, layout, lists)
}

/// Reads the rows that `grid` gives, and where the document turns out to be invalid once more: the road that most surveys take leaves
/// nothing behind to say why by.
fn read_all(
    grid: &mut dyn FnMut() -> Result<Grid, ConvertError>,
    name: &str,
    layout: &Layout,
    lists: &[CodeList],
) -> Result<(Survey, LossReport), ConvertError> {
    match read_once(grid()?, name, layout, lists, true)? {
        Some(read) => Ok(read),
        None => {
            let again = read_once(grid()?, name, layout, lists, false)?;
            again.ok_or_else(|| ConvertError::Refused { message: format!("{name}: cannot be read") })
        }
    }
}

/// Reads rows; `None` where the document is invalid and `fast` says not to keep what would tell why.
fn read_once(
    mut grid: Grid,
    name: &str,
    layout: &Layout,
    lists: &[CodeList],
    fast: bool,
) -> Result<Option<(Survey, LossReport)>, ConvertError> {
    let mut reader = Reader::new(name, layout, super::code_list(layout, lists));
    reader.in_sheet = grid.sheet.is_some();
    for note in &grid.notes {
        reader.report.note("", note.clone());
    }
    // Every column would be reported twice, once as unknown and once as missing, and every row as one of nothing.
    if !grid.headings.iter().any(|heading| layout.columns.iter().any(|column| *column.heading == **heading)) {
        let shown: Vec<String> =
            grid.headings.iter().take(4).map(|heading| format!("{:?}", heading.replace('\n', " "))).collect();
        let more = if grid.headings.len() > shown.len() { ", …" } else { "" };
        let notes: String = grid.notes.iter().map(|note| format!("; {note}")).collect();
        let message = format!(
            "none of the headings is one of the layout {}: found {}{more}; is this the right file, and the row of the headings?{notes}",
            layout.id,
            shown.join(", ")
        );
        let place = Location { file: name.to_owned(), line: grid.heading_line, column: None, heading: None };
        return Err(ConvertError::Form { place: Some(place).filter(|place| place.line > 0), message });
    }
    if let Some(message) = repeated(&grid) {
        reader.report.note("", message);
    }
    let ways = reader.columns(&grid);
    let blank = grid.rows.is_empty();
    // Each row goes once it has been read, so that the table and the document need not both be held.
    for row in std::mem::take(&mut grid.rows) {
        reader.row(&row, &ways);
    }
    match reader.finish(fast) {
        // What a survey needs comes from rows, and each key that is missing would be one mistake more.
        Err(_) if blank && layout.table.is_some() => {
            let place = Location { file: name.to_owned(), line: grid.heading_line, column: None, heading: None };
            let message = "there are no rows below the headings, so there is no survey to read; fill in a row for each observation, or give the \
                           file that has them";
            Err(ConvertError::Form { place: Some(place), message: message.to_owned() })
        }
        read => read,
    }
}

/// Among how many problems before one is looked for the same one.
const AGAIN: usize = 32;

pub(super) struct Reader<'l> {
    pub(super) name: &'l str,
    pub(super) layout: &'l Layout,
    pub(super) codes: HashMap<&'l str, &'l Code>,
    pub(super) file: u32,
    /// The same file, of the rows of observations.
    rows_file: u32,
    pub(super) places: SourceMap,
    pub(super) problems: Vec<PlacedProblem>,
    pub(super) report: LossReport,
    pub(super) headings: Vec<String>,
    /// Whether the table stands in a sheet of a workbook.
    in_sheet: bool,
    pub(super) tables: BTreeMap<&'static str, Vec<Map<String, Value>>>,
    /// Where a row of a table stands, by table and id.
    pub(super) known: HashMap<(&'static str, String), usize>,
    /// What set a field of the document, by pointer.
    pub(super) spots: HashMap<String, Spot>,
    /// Stretches that are open, by run and mark.
    pub(super) open: HashMap<(usize, String), usize>,
    pub(super) last: Option<Row>,
    /// Where that stands.
    pub(super) last_line: usize,
    /// When the record was issued, as the row says that makes it latest, and where that stands.
    pub(super) issued: Option<(String, Spot)>,
}

impl<'l> Reader<'l> {
    fn new(name: &'l str, layout: &'l Layout, list: Option<&'l CodeList>) -> Self {
        let mut places = SourceMap::default();
        let file = places.file(name);
        let rows_file = places.file_of_rows(name);
        let codes = list.iter().flat_map(|list| &list.codes).map(|code| (code.code.as_str(), code)).collect();
        Self {
            name,
            layout,
            codes,
            file,
            rows_file,
            places,
            problems: Vec::new(),
            report: LossReport::default(),
            headings: Vec::new(),
            in_sheet: false,
            tables: BTreeMap::new(),
            known: HashMap::new(),
            spots: HashMap::new(),
            open: HashMap::new(),
            last: None,
            last_line: 0,
            issued: None,
        }
    }

    /// Records where the value of a pointer came from.
    pub(super) fn record(&mut self, pointer: &str, spot: Spot) {
        self.places.record(pointer, self.file, spot.line, spot.column);
    }

    /// Records where an observation stands.
    pub(super) fn record_row(&mut self, pointer: &str, line: usize) {
        self.places.record(pointer, self.rows_file, line, 0);
    }

    /// Records where a value of an observation came from, which stands in its row unless it is of a stretch.
    pub(super) fn record_below(&mut self, row: &str, line: usize, below: &str, spot: Spot) {
        let heading = spot.heading.checked_sub(1).and_then(|index| self.headings.get(index));
        if let (true, Some(heading)) = (spot.line == line && self.layout.xml.is_none(), heading)
            && self.places.is_in_column(self.rows_file, format!("/{below}"), spot.column, heading)
        {
            return;
        }
        self.record(&format!("{row}/{below}"), spot);
    }

    pub(super) fn place(&self, spot: Spot) -> Location {
        let heading = spot.heading.checked_sub(1).and_then(|index| self.headings.get(index));
        let heading = heading.map(|heading| heading.replace('\n', " "));
        Location {
            file: self.name.to_owned(),
            line: spot.line,
            column: (spot.column > 0).then_some(spot.column),
            heading,
        }
    }

    pub(super) fn problem(&mut self, kind: ProblemKind, spot: Spot, pointer: &str, message: String) {
        let place = self.place(spot);
        // An attribute of an element that holds many rows is read for each of them.
        let again = |other: &PlacedProblem| other.place.as_ref() == Some(&place) && other.problem.message == message;
        if self.layout.xml.is_some() && self.problems.iter().rev().take(AGAIN).any(again) {
            return;
        }
        let problem = Problem::new(kind, pointer, message);
        self.problems.push(PlacedProblem { place: Some(place), problem });
    }

    fn row(&mut self, row_of_grid: &GridRow, ways: &[Option<Way<'_>>]) {
        let line = row_of_grid.line;
        if let Some(flaw) = &row_of_grid.flaw {
            let column = row_of_grid.flawed;
            let spot = Spot { line, column, heading: column };
            self.problem(ProblemKind::OrphanRow, spot, "", format!("{flaw}; the row was not read"));
            return;
        }
        let cells = &row_of_grid.cells;
        // Spreadsheets write blank cells beyond the last column; they hold nothing that could go missing.
        let beyond = cells.get(ways.len()..).unwrap_or_default().iter().find(|cell| !cell.text.trim().is_empty());
        if let (Some(cell), true) = (beyond, self.in_sheet) {
            let message = format!(
                "found {:?} under no heading, so the row was not read; give the column a heading, or take out what is beside the table",
                cell.text.trim()
            );
            let spot = Spot { line: cell.line, column: cell.column, heading: 0 };
            self.problem(ProblemKind::OrphanRow, spot, "", message);
            return;
        }
        let beyond = beyond.is_some();
        if cells.len() < ways.len() || beyond {
            let hint = match &self.layout.table {
                Some(table) if beyond => {
                    format!(
                        "; a cell with {:?} in it must stand in quotation marks, and a column must have a heading",
                        &*table.delimiter
                    )
                }
                Some(table) => {
                    format!(
                        "; give each blank cell its {:?}, and see whether a line break has cut the row in two",
                        &*table.delimiter
                    )
                }
                None => String::new(),
            };
            let message = format!(
                "the row has {} cells where there are {} headings, so it was not read{hint}",
                cells.len(),
                ways.len(),
            );
            self.problem(ProblemKind::OrphanRow, Spot::line(line), "", message);
            return;
        }
        let (mut row, wrong) = Row::read(row_of_grid, ways, self.layout);
        row.complete(self.layout);
        self.merge(DOCUMENT, "", &row, line);
        if self.unsurveyed(&row, cells, ways, &wrong, line) {
            // What is made from the last row is made from one with a run, where there is any.
            self.last.get_or_insert(row);
            return;
        }
        let (Some(pipe), Some(run)) = (row.text("pipes.id"), row.text("runs.id")) else {
            // Whatever a cell that could not be read would have named.
            let needed: Vec<&str> =
                ["pipes.id", "runs.id"].iter().flat_map(|path| needs::columns_of(self.layout, path)).collect();
            let mut named = false;
            for (spot, _, message) in wrong {
                let heading = spot.heading.checked_sub(1).and_then(|index| self.headings.get(index));
                named |= heading.is_some_and(|heading| needed.contains(&heading.as_str()));
                self.problem(ProblemKind::OrphanRow, spot, "", format!("{message}; the row was not read"));
            }
            // What could not be read there has been said.
            if !named {
                let missing = if row.text("pipes.id").is_none() { "pipe" } else { "run" };
                let mut columns = needs::columns_of(self.layout, &format!("{missing}s.id"));
                let cell_of = |heading: &str| {
                    let column = self.headings.iter().position(|own| own == heading)?;
                    cells.get(column).map(|cell| cell.text.trim())
                };
                // A column that is not there has been told of, and would be told of in every row.
                if self.layout.xml.is_none() && columns.iter().any(|heading| cell_of(heading).is_none()) {
                    return;
                }
                if columns.iter().any(|heading| cell_of(heading) == Some("")) {
                    columns.retain(|heading| cell_of(heading) == Some(""));
                }
                // An element that nothing was seen in may be there for a run that never was.
                let alone = self.layout.xml.is_some() && missing == "run" && !row.is_observation();
                let or = if alone { ", or take the element out where there was no inspection" } else { "" };
                let message = format!(
                    "nothing in the row tells which {missing} it is of, so it was not read; fill in {}{or}",
                    needs::quoted(&columns)
                );
                self.problem(ProblemKind::OrphanRow, Spot::line(line), "", message);
            }
            return;
        };
        let pipe = self.merge("pipes", &pipe, &row, line);
        let run_id = run;
        let run = self.merge("runs", &run_id, &row, line);
        self.set(&format!("/runs/{run}/pipe"), "runs", run, &["pipe"], &(row.fields["pipes.id"].clone()), line);
        self.references(&row, line);
        let next = self.tables["runs"][run].get("observations").and_then(Value::as_array).map_or(0, Vec::len);
        for (spot, path, message) in wrong {
            let (table, index) = if path.starts_with("pipes.") { ("pipes", pipe) } else { ("runs", run) };
            let pointer = match path.strip_prefix("runs.observations.") {
                Some(below) => format!("/runs/{run}/observations/{next}/{}", below.replace('.', "/")),
                None if path.starts_with("pipes.") || path.starts_with("runs.") => {
                    let below = path.split_once('.').map_or("", |(_, below)| below).replace('.', "/");
                    format!("/{table}/{index}/{below}")
                }
                None => format!("/{}", path.replace('.', "/")),
            };
            self.problem(ProblemKind::TextForm, spot, &pointer, message);
        }
        let of = match row.is_observation() {
            true => format!("/runs/{run}/observations/{}", self.observation(&row, run, &run_id, line)),
            false => format!("/runs/{run}"),
        };
        self.dropped(cells, ways, &of);
        for (path, whole, spot) in std::mem::take(&mut row.cut) {
            let message = "the cell holds more than its column has room for".to_owned();
            let (place, read) = (self.place(spot), row.fields.get(&path).map(|(value, _)| value.clone()));
            let loss = Loss::new(LossKind::Dropped, &of, message);
            self.report.losses.push(Loss { was: Some(whole.into()), becomes: read, place: Some(place), ..loss });
        }
        self.latest(&row, line);
        self.last = Some(row);
        self.last_line = line;
    }

    /// Notes when the record was issued, where a row makes that later than those above it: a table need not be in the order of time.
    fn latest(&mut self, row: &Row, line: usize) {
        let Some(made) = self.layout.made.iter().find(|made| &*made.to == "issued") else { return };
        let Some(text) = fill(&made.text, &|path| row.text(path)) else { return };
        // Texts of one offset are in the order of time; of others the row that comes last counts.
        let zone = |text: &str| text.get(19..).map(str::to_owned);
        if self.issued.as_ref().is_some_and(|(before, _)| zone(before) == zone(&text) && *before >= text) {
            return;
        }
        let path = made.text.split_once('{').and_then(|(_, rest)| rest.split_once('}')).map(|(path, _)| path);
        let spot = path.and_then(|path| row.fields.get(path)).map_or(Spot::line(line), |(_, spot)| *spot);
        self.issued = Some((text, spot));
    }

    /// Accounts for what stands in the columns of a row that lead nowhere; `of` is what the row is of.
    pub(super) fn dropped(&mut self, cells: &[GridCell], ways: &[Option<Way<'_>>], of: &str) {
        for (index, (cell, way)) in cells.iter().zip(ways).enumerate() {
            let Some(why) = way.and_then(|way| way.column.drop.as_deref()).filter(|_| !cell.text.trim().is_empty())
            else {
                continue;
            };
            let message =
                format!("the column {:?} is not carried over: {why}", self.headings[index].replace('\n', " "));
            let place = self.place(Spot { line: cell.line, column: cell.column, heading: index + 1 });
            // What stands around several rows in XML is in each of them, and is dropped once.
            let again = |other: &Loss| other.place.as_ref() == Some(&place) && other.message == message;
            if self.layout.xml.is_some() && self.report.losses.iter().rev().take(AGAIN).any(again) {
                continue;
            }
            let loss = Loss::new(LossKind::Dropped, of, message);
            self.report.losses.push(Loss { was: Some(cell.text.trim().into()), place: Some(place), ..loss });
        }
    }

    /// Adds what a row says of a pipe, a run or the document, and gives its place in the table.
    pub(super) fn merge(&mut self, table: &'static str, id: &str, row: &Row, line: usize) -> usize {
        let rows = self.tables.entry(table).or_default();
        let index = *self.known.entry((table, id.to_owned())).or_insert_with(|| {
            rows.push(Map::new());
            rows.len() - 1
        });
        let above = if table == DOCUMENT { String::new() } else { format!("/{table}/{index}") };
        if table != DOCUMENT && self.places.place(&above).is_none() {
            self.record(&above, Spot::line(line));
        }
        for (below, cell) in row.of(table) {
            let keys: Vec<&str> = below.split('.').collect();
            self.set(&format!("{above}/{}", below.replace('.', "/")), table, index, &keys, cell, line);
        }
        if let Some(key) = self.layout.extension.clone() {
            for (heading, text, spot) in row.texts(table) {
                let escaped = token(heading);
                let pointer = format!("{above}/extensions/{key}/{escaped}");
                self.set(&pointer, table, index, &["extensions", &key, heading], &(text.into(), spot), line);
            }
        }
        index
    }

    /// Sets a field of a pipe, a run or the document, or says that an earlier row has it otherwise.
    fn set(
        &mut self,
        pointer: &str,
        table: &'static str,
        index: usize,
        keys: &[&str],
        (value, spot): &Cell,
        line: usize,
    ) {
        let spot = if spot.line == 0 { Spot::line(line) } else { *spot };
        let Some(object) = self.tables.get_mut(table).and_then(|rows| rows.get_mut(index)) else { return };
        let (first, rest) = keys.split_first().map_or(("", keys), |(first, rest)| (*first, rest));
        let earlier = rest.iter().try_fold(object.get(first), |value, key| Some(value?.get(*key)));
        match earlier.flatten() {
            None => {
                put(object, keys, value.clone());
                self.record(pointer, spot);
                if table == DOCUMENT {
                    self.spots.insert(pointer.to_owned(), spot);
                }
            }
            Some(earlier) if earlier != value => {
                let what = match table {
                    "pipes" => "pipe",
                    "runs" => "run",
                    other => other,
                };
                let at = self.places.place(pointer).map_or(0, |place| place.line);
                let message = format!(
                    "{} where line {at} has {} for the same {what}; correct one of them",
                    said(value),
                    said(earlier)
                );
                self.problem(ProblemKind::TextForm, spot, pointer, message);
            }
            Some(_) => {}
        }
    }

    /// Adds a row to a table unless it is there.
    pub(super) fn add(&mut self, table: &'static str, id: &str, more: Map<String, Value>, spot: Spot) {
        if self.known.contains_key(&(table, id.to_owned())) {
            return;
        }
        let rows = self.tables.entry(table).or_default();
        let mut object = Map::new();
        object.insert("id".to_owned(), id.into());
        object.extend(more);
        self.known.insert((table, id.to_owned()), rows.len());
        let pointer = format!("/{table}/{}", rows.len());
        rows.push(object);
        self.record(&pointer, spot);
    }

    /// Structures and parties that the row names.
    pub(super) fn references(&mut self, row: &Row, line: usize) {
        let spot = |spot: &Spot| if spot.line == 0 { Spot::line(line) } else { *spot };
        for path in ["pipes.upstream", "pipes.downstream", "runs.from", "runs.to"] {
            if let Some((value, from)) = row.fields.get(path) {
                self.add("structures", &said(value), Map::new(), spot(from));
            }
        }
        for (path, role) in [("assignment.owner", Some("owner")), ("runs.operator", None)] {
            if let Some((value, from)) = row.fields.get(path) {
                let mut party = Map::from_iter([("name".to_owned(), value.clone())]);
                party.extend(role.map(|role| ("role".to_owned(), role.into())));
                self.add("parties", &said(value), party, spot(from));
            }
        }
    }
}
