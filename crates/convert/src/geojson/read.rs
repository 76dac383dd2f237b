//! Reading: features become rows, rows become a document, and the geometries are compared with the
//! document.

use std::collections::HashMap;

use obvert_model::tables::{Document, Head, Run};
use serde_json::Value;

use super::WHY;
use super::collection::{Collected, Features, Row, TableRow, collected};
use super::moved::{Drawings, Moved, agrees, settle};
use super::source::{Text, TextPosition};
use crate::map::network::Network;
use crate::row_file::{RowFile, RowSource};
use crate::runs::{RunValues, TypedRuns};
use crate::source::{Locations, Source, SurveyReader};
use crate::{ConvertError, Input, Location, SourceMap, Survey};

/// Reads a document from GeoJSON, and refuses it if geometries have been moved.
///
/// Errors and the source map call the file `name`.
///
/// # Errors
/// [`ConvertError::Format`] when the source is not GeoJSON of this format or contradicts itself,
/// [`ConvertError::Structure`] when its rows are not those of a document, [`ConvertError::Refused`]
/// when the reference system cannot be used; each with the location.
pub fn read(source: &[u8], name: &str) -> Result<Survey, ConvertError> {
    read_with(source, name, Moved::Refuse)
}

/// Reads a document from GeoJSON. `moved` says what to do with geometries that have been moved.
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
    Ok(Box::new(RowSource::new(GeojsonFile { input, moved })))
}

struct GeojsonFile<'a> {
    input: Input<'a>,
    moved: Moved,
}

impl GeojsonFile<'_> {
    fn content(&self) -> Text<'_> {
        Text::known(self.input.bytes(), self.input.name())
    }
}

impl RowFile for GeojsonFile<'_> {
    fn is_in_order(&mut self) -> Result<bool, ConvertError> {
        Ok(self.moved == Moved::Refuse && collected(&self.content())?.features.are_in_order())
    }

    fn runs(&mut self, locations: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
        Ok(Box::new(runs(self.content(), self.input.bytes(), locations)?))
    }

    fn assemble(&mut self) -> Result<Survey, ConvertError> {
        assemble(&self.content(), self.input.bytes(), self.moved)
    }

    fn text(&self, file: &str) -> Option<&[u8]> {
        self.input.text(file)
    }
}

/// The locations of rows in the text.
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

    // A program may have sorted the features, so that observations come before their run.
    let mut of_run: Vec<Vec<Value>> = vec![Vec::new(); tables[3].1.len()];
    drawings.observations = of_run.iter().map(|_| Vec::new()).collect();
    for found in observations {
        let id = found.run.unwrap_or_default();
        let Some(&run) = run_of_id.get(&id) else {
            let message = format!(
                "the observation belongs to the run {id:?}, and no feature of the table \"runs\" has that id; correct one of them"
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

/// The runs of a collection whose features are in order. Reads the head.
fn runs<'s>(
    text: Text<'s>,
    source: &[u8],
    locations: Locations,
) -> Result<TypedRuns<GeojsonRuns<'s>>, ConvertError> {
    let Collected { survey, mut features } = collected(&text)?;
    let mut places = (locations == Locations::Kept).then(|| Places::new(source, text.name()));
    let mut place =
        |pointer: &str, row: &Row| places.iter_mut().for_each(|places| places.row(pointer, row));
    place("", &survey);
    let at = location(&text, survey.position);
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
    let mut document = Document { head, runs: Vec::new() };
    settle(&mut document, &drawings, Moved::Refuse, text.name())?;
    let network = Network::new(&document.head, WHY).ok();
    let runs = GeojsonRuns { text, features, next, network, places, position: None, drawn: None };
    Ok(TypedRuns::new(runs, document.head))
}

/// The runs of a collection whose features are in order, as values.
struct GeojsonRuns<'s> {
    text: Text<'s>,
    features: Features<'s>,
    /// The next feature.
    next: Option<TableRow>,
    /// The map that geometries are compared with; `None` if nothing can be drawn.
    network: Option<Network>,
    places: Option<Places>,
    /// Where the run that was read last is.
    position: Option<TextPosition>,
    /// The geometries of that run, if it has any.
    drawn: Option<Drawings>,
}

impl GeojsonRuns<'_> {
    fn place(&mut self, pointer: &str, row: &Row) {
        if let Some(places) = &mut self.places {
            places.row(pointer, row);
        }
    }
}

impl RunValues for GeojsonRuns<'_> {
    fn next_value(&mut self, pointer: &str) -> Result<Option<Value>, ConvertError> {
        let Some(found) = self.next.take() else { return Ok(None) };
        self.position = Some(found.row.position);
        self.place(pointer, &found.row);
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
        self.drawn = drawn.iter().any(Option::is_some).then(|| Drawings::of_run(drawn));
        Ok(Some(Value::Object(value)))
    }

    fn location(&mut self) -> Option<Location> {
        Some(location(&self.text, self.position?))
    }

    fn compare(&mut self, head: &Head, run: &Run) -> Result<(), &'static str> {
        let Some(drawn) = self.drawn.take() else { return Ok(()) };
        let map = self.network.as_ref().map(|network| network.on(head));
        match map.is_some_and(|map| agrees(map, run, &drawn)) {
            true => Ok(()),
            false => Err("a geometry contradicts its row"),
        }
    }

    fn into_locations(self) -> Option<SourceMap> {
        self.places.map(|places| places.map)
    }
}

fn location(text: &Text<'_>, position: TextPosition) -> Location {
    let (line, column) = (position.line, Some(position.column));
    Location { file: text.name().to_owned(), line, column, heading: None }
}
