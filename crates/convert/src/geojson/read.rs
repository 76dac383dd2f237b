//! Reading: features become rows again, rows a document, and then the geometries are compared with
//! what the document says.

use std::collections::HashMap;
use std::sync::Arc;

use obvert_model::read::{IdWatch, RunReader};
use obvert_model::tables::{Document, Head, Run};
use serde_json::Value;

use super::WHY;
use super::collection::{Collected, Features, Row, TableRow, collected};
use super::moved::{Drawings, Moved, agrees, settle};
use super::source::Text;
use crate::map::network::Network;
use crate::source::{
    Diagnosis, Locations, Provenance, Source, SurveyReader, WholeReader, diagnosed,
};
use crate::{ConvertError, Input, Location, LossReport, SourceMap, Survey};

/// Reads a document from GeoJSON, refusing one in which geometries have been moved.
///
/// `name` is the file's name, for errors and the source map.
///
/// # Errors
/// [`ConvertError::Form`] for what is not GeoJSON of this format or contradicts itself,
/// [`ConvertError::Structure`] for rows that are not those of a document, [`ConvertError::Refused`]
/// when the reference system cannot be used; each with the place.
pub fn read(source: &[u8], name: &str) -> Result<Survey, ConvertError> {
    read_with(source, name, Moved::Refuse)
}

/// Reads a document from GeoJSON, `moved` saying what to do when somebody has moved a geometry.
///
/// # Errors
/// As [`read`].
pub fn read_with(source: &[u8], name: &str, moved: Moved) -> Result<Survey, ConvertError> {
    open(Input::file(name, source).with_option(Moved::OPTION, moved.as_str()))?.survey()
}

/// Opens a feature collection.
pub(super) fn open<'a>(input: Input<'a>) -> Result<Box<dyn Source + 'a>, ConvertError> {
    collected(&Text::new(input.bytes(), input.name())?)?;
    let moved = input.option(Moved::OPTION).and_then(Moved::from_name).unwrap_or_default();
    Ok(Box::new(GeojsonSource { input, moved, in_order: None, diagnosis: None }))
}

struct GeojsonSource<'a> {
    input: Input<'a>,
    moved: Moved,
    /// Whether runs can be read one after the other, once that is known.
    in_order: Option<bool>,
    /// What a reading of the whole has found wrong.
    diagnosis: Option<Diagnosis>,
}

impl GeojsonSource<'_> {
    fn content(&self) -> Text<'_> {
        Text::known(self.input.bytes(), self.input.name())
    }

    /// Whether the runs can be read one after the other, which is settled before the first is.
    fn is_in_order(&mut self) -> Result<bool, ConvertError> {
        if let Some(known) = self.in_order {
            return Ok(known);
        }
        let order =
            self.moved == Moved::Refuse && collected(&self.content())?.features.are_in_order();
        self.in_order = Some(order);
        Ok(order)
    }
}

impl Source for GeojsonSource<'_> {
    fn read(&mut self, locations: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
        if self.is_in_order()? {
            return Ok(Box::new(GeojsonRuns::new(self.content(), self.input.bytes(), locations)?));
        }
        match assemble(&self.content(), self.input.bytes(), self.moved) {
            Ok(survey) => Ok(Box::new(WholeReader::new(survey, LossReport::default()))),
            Err(ConvertError::Structure(problems)) => {
                let error = ConvertError::first_of(&problems);
                self.diagnosis = Some(problems.into());
                Err(error)
            }
            Err(error) => Err(error),
        }
    }

    fn diagnose(&mut self) -> Result<Diagnosis, ConvertError> {
        match self.diagnosis.take() {
            Some(diagnosis) => Ok(diagnosis),
            None => diagnosed(assemble(&self.content(), self.input.bytes(), self.moved)),
        }
    }

    fn text(&self, file: &str) -> Option<&[u8]> {
        self.input.text(file)
    }
}

/// Where rows are in the text.
struct Places {
    map: SourceMap,
    file: u32,
}

impl Places {
    fn new(source: &[u8], name: &str) -> Self {
        let mut map = SourceMap::default();
        let file = map.file(name);
        map.keep_text(file, source);
        Self { map, file }
    }

    fn row(&mut self, pointer: &str, row: &Row) {
        self.map.place_json(
            pointer,
            self.file,
            (row.position.line, row.position.column),
            row.json.clone(),
        );
    }
}

/// Reads everything, in any order of features.
fn assemble(text: &Text<'_>, source: &[u8], moved: Moved) -> Result<Survey, ConvertError> {
    let Collected { survey, mut features } = collected(text)?;
    let mut places = Places::new(source, text.name());
    places.row("", &survey);

    let mut tables: [(&str, Vec<Value>); 4] = [
        ("structures", Vec::new()),
        ("pipes", Vec::new()),
        ("locates", Vec::new()),
        ("runs", Vec::new()),
    ];
    let mut drawings = Drawings::default();
    let mut run_of_id: HashMap<String, usize> = HashMap::new();
    let mut observations: Vec<TableRow> = Vec::new();
    while let Some(found) = features.next_row()? {
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
        places.row(&pointer, &found.row);
        if let Some(drawn) = drawings.table(name) {
            drawn.push(found.row.drawn);
        }
        table.push(Value::Object(found.row.value));
    }

    // Observations may come before their run where a program has sorted the features.
    let mut of_run: Vec<Vec<Value>> = vec![Vec::new(); tables[3].1.len()];
    drawings.observations = of_run.iter().map(|_| Vec::new()).collect();
    for found in observations {
        let id = found.run.unwrap_or_default();
        let Some(&run) = run_of_id.get(&id) else {
            let message = format!(
                "the observation belongs to the run {id:?}, but no feature of the table \"runs\" has that id"
            );
            return Err(text.error(found.row.position, message));
        };
        let pointer = format!("/runs/{run}/observations/{}", of_run[run].len());
        places.row(&pointer, &found.row);
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
    let mut survey = crate::typed(Value::Object(document), places.map)?;
    settle(&mut survey.document, &drawings, moved, text.name())?;
    Ok(survey)
}

/// The runs of a collection whose features are in order.
struct GeojsonRuns<'s> {
    text: Text<'s>,
    features: Features<'s>,
    /// The feature that comes next.
    next: Option<TableRow>,
    head: Arc<Head>,
    /// The map that geometries are compared with; `None` if nothing can be drawn.
    network: Option<Network>,
    ids: IdWatch,
    places: Option<Places>,
    /// How many runs have been read.
    count: usize,
    failed: bool,
}

impl<'s> GeojsonRuns<'s> {
    /// Reads the head.
    fn new(text: Text<'s>, source: &[u8], locations: Locations) -> Result<Self, ConvertError> {
        let Collected { survey, mut features } = collected(&text)?;
        let mut places = (locations == Locations::Kept).then(|| Places::new(source, text.name()));
        let mut place = |pointer: &str, row: &Row| {
            places.iter_mut().for_each(|places| places.row(pointer, row))
        };
        place("", &survey);
        let at = location(&text, &survey);
        let mut document = survey.value;
        let mut drawings = Drawings::default();
        let next = loop {
            let Some(found) = features.next_row()? else { break None };
            let Some(drawn) = drawings.table(found.table).filter(|_| found.table != "runs") else {
                break Some(found);
            };
            let list = document.entry(found.table).or_insert_with(|| Value::Array(Vec::new()));
            let Value::Array(rows) = list else { break Some(found) };
            place(&format!("/{}/{}", found.table, rows.len()), &found.row);
            drawn.push(found.row.drawn);
            rows.push(Value::Object(found.row.value));
        };
        let head = Head::deserialize(Value::Object(document));
        let head = head.map_err(|error| ConvertError::invalid(Some(at), error.to_string()))?;
        let mut ids = IdWatch::default();
        ids.head(&head);
        let mut document = Document { head, runs: Vec::new() };
        settle(&mut document, &drawings, Moved::Refuse, text.name())?;
        let head = Arc::new(document.head);
        let network = Network::new(&head, WHY).ok();
        Ok(Self { text, features, next, head, network, ids, places, count: 0, failed: false })
    }

    fn read_next(&mut self) -> Result<Option<Run>, ConvertError> {
        let Some(found) = self.next.take() else {
            return if self.ids.has_duplicates() {
                Err(ConvertError::repeated_id(None))
            } else {
                Ok(None)
            };
        };
        let at = location(&self.text, &found.row);
        let pointer = format!("/runs/{}", self.count);
        self.count += 1;
        self.place(&pointer, &found.row);
        let mut value = found.row.value;
        let id = value.get("id").and_then(Value::as_str).map(str::to_owned);
        let mut drawn = vec![found.row.drawn];
        let mut rows = Vec::new();
        loop {
            self.next = self.features.next_row()?;
            let is_own = |row: &mut TableRow| row.table == "observations" && row.run == id;
            let Some(row) = self.next.take_if(is_own) else { break };
            self.place(&format!("{pointer}/observations/{}", rows.len()), &row.row);
            rows.push(Value::Object(row.row.value));
            drawn.push(row.row.drawn);
        }
        if !rows.is_empty() {
            value.insert("observations".to_owned(), Value::Array(rows));
        }
        let run = Run::deserialize(Value::Object(value));
        let run =
            run.map_err(|error| ConvertError::invalid(Some(at.clone()), error.to_string()))?;
        self.ids.run(&run);
        if self.ids.has_duplicates() {
            return Err(ConvertError::repeated_id(Some(at)));
        }
        if drawn.iter().any(Option::is_some) {
            let map = self.network.as_ref().map(|network| network.on(&self.head));
            if !map.is_some_and(|map| agrees(map, &run, &Drawings::of_run(drawn))) {
                return Err(ConvertError::invalid(Some(at), "a geometry is not where its row is"));
            }
        }
        Ok(Some(run))
    }

    fn place(&mut self, pointer: &str, row: &Row) {
        if let Some(places) = &mut self.places {
            places.row(pointer, row);
        }
    }
}

impl RunReader for GeojsonRuns<'_> {
    type Error = ConvertError;

    fn head(&self) -> &Head {
        &self.head
    }

    fn share_head(&self) -> Arc<Head> {
        Arc::clone(&self.head)
    }

    fn next_run(&mut self) -> Result<Option<Run>, ConvertError> {
        if self.failed {
            return Ok(None);
        }
        let run = self.read_next();
        self.failed = run.is_err();
        run
    }
}

impl SurveyReader for GeojsonRuns<'_> {
    fn finish(self: Box<Self>) -> Provenance {
        Provenance {
            locations: self.places.map(|places| places.map),
            losses: LossReport::default(),
        }
    }
}

fn location(text: &Text<'_>, row: &Row) -> Location {
    let (line, column) = (row.position.line, Some(row.position.column));
    Location { file: text.name().to_owned(), line, column, heading: None }
}
