//! Reading: features become rows again, rows a document, and then the geometries are held against what the document says.

use std::collections::HashMap;

use obvert_model::read::{IdWatch, Runs};
use obvert_model::tables::{Document, Head, Run};
use serde_json::Value;

use super::WHY;
use super::collection::{self, Row, TableRow};
use super::moved::{Drawings, Moved, settle, stands};
use super::source::Source;
use crate::map::network::Network;
use crate::{ConvertError, SourceMap, Survey, flow};

/// Reads a document from GeoJSON, refusing one in which geometries have been moved.
///
/// `name` is the file's name, for errors and the source map.
///
/// # Errors
/// [`ConvertError::Form`] for what is not GeoJSON of this form or contradicts itself, [`ConvertError::Structure`] for rows that are
/// not those of a document, [`ConvertError::Refused`] when the reference system cannot be used; each with the place.
pub fn read(source: &[u8], name: &str) -> Result<Survey, ConvertError> {
    let text = Source::new(source, name)?;
    let mut marks = Marks::new(source, name);
    let mut all = Vec::new();
    let fast = collection::each(&text, |survey, next| {
        ahead(survey, next, name, Some(&mut marks), &mut |head, runs| {
            all.clear();
            while let Some(run) = runs.next_run() {
                all.push(run);
            }
            head.clone()
        })
    });
    match fast {
        Some(head) => Ok(Survey { document: Document { head, runs: all }, places: marks.places }),
        None => read_with(source, name, Moved::Refuse),
    }
}

/// Where rows stand, for a survey that is read at once.
struct Marks {
    places: SourceMap,
    file: u32,
}

impl Marks {
    fn new(source: &[u8], name: &str) -> Self {
        let mut places = SourceMap::default();
        let file = places.file(name);
        places.keep_text(file, source);
        Self { places, file }
    }

    fn row(&mut self, pointer: &str, row: &Row) {
        self.places.place_json(pointer, self.file, (row.spot.line, row.spot.column), row.json.clone());
    }
}

/// Reads a document from GeoJSON, `moved` saying what to do when somebody has moved a geometry.
///
/// # Errors
/// As [`read`].
pub fn read_with(source: &[u8], name: &str, moved: Moved) -> Result<Survey, ConvertError> {
    let text = Source::new(source, name)?;
    let (survey, rows) = collection::parts(&text)?;
    let mut marks = Marks::new(source, name);
    marks.row("", &survey);

    let mut tables: [(&str, Vec<Value>); 4] =
        [("structures", Vec::new()), ("pipes", Vec::new()), ("locates", Vec::new()), ("runs", Vec::new())];
    let mut drawings = Drawings::default();
    let mut run_of_id: HashMap<String, usize> = HashMap::new();
    let mut observations: Vec<TableRow> = Vec::new();
    for found in rows {
        let Some((name, table)) = tables.iter_mut().find(|(name, _)| *name == found.table) else {
            observations.push(found);
            continue;
        };
        if *name == "runs"
            && let Some(Value::String(id)) = found.row.value.get("id")
        {
            run_of_id.entry(id.clone()).or_insert(table.len());
        }
        let pointer = format!("/{name}/{}", table.len());
        marks.row(&pointer, &found.row);
        if let Some(drawn) = drawings.table(name) {
            drawn.push(found.row.drawn);
        }
        table.push(Value::Object(found.row.value));
    }

    // Observations may stand before their run where a program has sorted the features.
    let mut of_run: Vec<Vec<Value>> = vec![Vec::new(); tables[3].1.len()];
    drawings.observations = of_run.iter().map(|_| Vec::new()).collect();
    for found in observations {
        let id = found.run.unwrap_or_default();
        let Some(&run) = run_of_id.get(&id) else {
            let message =
                format!("the observation belongs to the run {id:?}, but no feature of the table \"runs\" has that id");
            return Err(text.error(found.row.spot, message));
        };
        let pointer = format!("/runs/{run}/observations/{}", of_run[run].len());
        marks.row(&pointer, &found.row);
        drawings.observations[run].push(found.row.drawn);
        of_run[run].push(Value::Object(found.row.value));
    }
    for (run, rows) in tables[3].1.iter_mut().zip(of_run) {
        if let Value::Object(run) = run
            && !rows.is_empty()
        {
            run.insert("observations".to_owned(), Value::Array(rows));
        }
    }

    let mut document = survey.value;
    for (name, rows) in tables {
        if !rows.is_empty() {
            document.insert(name.to_owned(), Value::Array(rows));
        }
    }
    let mut survey = crate::typed(Value::Object(document), marks.places)?;
    settle(&mut survey.document, &drawings, moved, text.name())?;
    Ok(survey)
}

/// Reads a document from GeoJSON as a stream: calls `work` with the head and the runs to be taken from it, as
/// [`obvert_model::read::stream`] does. Geometries that have been moved are refused. Beside the text itself, memory is that of the
/// head and of one run where every run is followed by its observations and both stand behind all else, as they are written;
/// otherwise the whole is held, and `work` may be called again for it. What it gave before is thrown away then, and also when the
/// document turns out to be invalid.
///
/// # Errors
/// As [`read`].
pub fn read_stream<T>(
    source: &[u8],
    name: &str,
    mut work: impl FnMut(&Head, &mut dyn Runs) -> T,
) -> Result<T, ConvertError> {
    let text = Source::new(source, name)?;
    let fast = collection::each(&text, |survey, next| ahead(survey, next, name, None, &mut work));
    flow::either(fast, || read_with(source, name, Moved::Refuse), &mut work)
}

/// The fast road; `None` where it ends.
fn ahead<T>(
    survey: Row,
    next: &mut dyn FnMut() -> Option<TableRow>,
    name: &str,
    mut marks: Option<&mut Marks>,
    work: &mut dyn FnMut(&Head, &mut dyn Runs) -> T,
) -> Option<T> {
    if let Some(marks) = &mut marks {
        marks.row("", &survey);
    }
    let mut document = survey.value;
    let mut drawings = Drawings::default();
    let first = loop {
        let Some(found) = next() else { break None };
        if matches!(found.table, "runs" | "observations") {
            break Some(found);
        }
        let rows = document.entry(found.table).or_insert_with(|| Value::Array(Vec::new())).as_array_mut()?;
        if let Some(marks) = &mut marks {
            marks.row(&format!("/{}/{}", found.table, rows.len()), &found.row);
        }
        drawings.table(found.table)?.push(found.row.drawn);
        rows.push(Value::Object(found.row.value));
    };
    let head = Head::deserialize(Value::Object(document)).ok()?;
    let mut ids = IdWatch::default();
    ids.head(&head);
    let mut document = Document { head, runs: Vec::new() };
    settle(&mut document, &drawings, Moved::Refuse, name).ok()?;
    let head = document.head;
    // Without one nothing can be drawn, and whoever reads the whole says so.
    let network = Network::new(&head, WHY).ok();
    let mut runs = Ahead { next, pending: first, network, ids, failed: false, marks, count: 0 };
    let result = work(&head, &mut runs);
    while runs.next_run().is_some() {}
    (!runs.failed && !runs.ids.seen_twice()).then_some(result)
}

struct Ahead<'s, 'h> {
    next: &'s mut dyn FnMut() -> Option<TableRow>,
    pending: Option<TableRow>,
    network: Option<Network<'h>>,
    ids: IdWatch,
    failed: bool,
    marks: Option<&'s mut Marks>,
    /// How many runs have been taken.
    count: usize,
}

impl Ahead<'_, '_> {
    fn run(&mut self, found: TableRow) -> Option<Run> {
        let pointer = format!("/runs/{}", self.count);
        self.count += 1;
        if let Some(marks) = &mut self.marks {
            marks.row(&pointer, &found.row);
        }
        let mut value = found.row.value;
        let id = value.get("id").and_then(Value::as_str)?.to_owned();
        let mut drawn = vec![found.row.drawn];
        let mut rows = Vec::new();
        if found.table != "runs" {
            return None;
        }
        loop {
            self.pending = (self.next)();
            let own = |row: &mut TableRow| row.table == "observations" && row.run.as_deref() == Some(&id);
            let Some(row) = self.pending.take_if(own) else { break };
            if let Some(marks) = &mut self.marks {
                marks.row(&format!("{pointer}/observations/{}", rows.len()), &row.row);
            }
            rows.push(Value::Object(row.row.value));
            drawn.push(row.row.drawn);
        }
        if !rows.is_empty() {
            value.insert("observations".to_owned(), Value::Array(rows));
        }
        let run = Run::deserialize(Value::Object(value)).ok()?;
        self.ids.run(&run);
        if drawn.iter().any(Option::is_some) {
            let network = self.network.as_ref()?;
            let of_run = Drawings::of_run(drawn);
            if !stands(network, &run, &of_run) {
                return None;
            }
        }
        Some(run)
    }
}

impl Runs for Ahead<'_, '_> {
    fn next_run(&mut self) -> Option<Run> {
        if self.failed {
            return None;
        }
        let found = self.pending.take()?;
        let run = self.run(found);
        self.failed = run.is_none();
        run
    }
}
