//! Reading: features become rows again, rows a document, and then the geometries are held against what the document says.

use std::collections::HashMap;

use serde_json::Value;

use super::collection::{self, TableRow};
use super::moved::{Drawings, Moved, settle};
use super::source::Source;
use crate::{ConvertError, SourceMap, Survey};

/// Reads a document from GeoJSON, refusing one in which geometries have been moved.
///
/// `name` is the file's name, for errors and the source map.
///
/// # Errors
/// [`ConvertError::Form`] for what is not GeoJSON of this form or contradicts itself, [`ConvertError::Structure`] for rows that are
/// not those of a document, [`ConvertError::Refused`] when the reference system cannot be used; each with the place.
pub fn read(source: &[u8], name: &str) -> Result<Survey, ConvertError> {
    read_with(source, name, Moved::Refuse)
}

/// Reads a document from GeoJSON, `moved` saying what to do when somebody has moved a geometry.
///
/// # Errors
/// As [`read`].
pub fn read_with(source: &[u8], name: &str, moved: Moved) -> Result<Survey, ConvertError> {
    let text = Source::new(source, name)?;
    let (survey, rows) = collection::parts(&text)?;
    let mut places = SourceMap::default();
    let file = places.file(name);
    places.keep_text(file, source);
    places.place_json("", file, (survey.spot.line, survey.spot.column), survey.json);

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
        places.place_json(&pointer, file, (found.row.spot.line, found.row.spot.column), found.row.json);
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
        places.place_json(&pointer, file, (found.row.spot.line, found.row.spot.column), found.row.json);
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
    let mut survey = crate::typed(Value::Object(document), places)?;
    settle(&mut survey.document, &drawings, moved, text.name())?;
    Ok(survey)
}
