//! Writing XML, one run at a time: only the head and one run are in memory as a value.

use std::io::Write;

use obvert_model::read::RunReader;
use obvert_model::shape::{self, Field, ObjectShape, Shape};
use obvert_model::tables::Document;
use serde::Serialize;
use serde_json::{Map, Value};

use super::{NAMESPACE, names, text};
use crate::{ConvertError, DocumentRuns, LossReport, Output};

/// Writes a document as XML. The report is always empty: XML holds everything.
///
/// # Errors
/// When the sink fails.
pub fn write(document: &Document, sink: impl Write) -> Result<LossReport, ConvertError> {
    write_runs(&mut DocumentRuns::new(document), sink)
}

/// Writes a survey that is read run by run. The bytes are those of [`write()`](fn@write): an
/// indentation of two spaces per level, one line for each row of a table and each observation, and
/// a final newline.
///
/// # Errors
/// When the survey turns out to be invalid, or the sink fails.
pub fn write_runs(
    survey: &mut dyn RunReader<Error = ConvertError>,
    mut sink: impl Write,
) -> Result<LossReport, ConvertError> {
    let mut page = Page(String::new());
    page.0.push_str("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    page.0.push_str(&format!("<{} xmlns=\"{}\">\n", names::ROOT, text::escape(NAMESPACE)));
    let head = object(survey.head())?;
    for field in &shape::document().fields {
        if field.name == "runs" {
            page.runs(field, survey, &mut sink)?;
        } else if let Some(value) = head.get(&field.name) {
            page.line(1);
            page.field(&shape::document().name, &field.name, &field.shape, value, 1)?;
            page.0.push('\n');
        }
    }
    page.close(names::ROOT);
    page.0.push('\n');
    sink.write_all(page.0.as_bytes())?;
    sink.flush()?;
    Ok(LossReport::default())
}

/// Writes a survey into one file.
pub(super) fn create(
    survey: &mut dyn RunReader<Error = ConvertError>,
    output: &mut Output<'_>,
) -> Result<LossReport, ConvertError> {
    write_runs(survey, output.sink()?)
}

fn object(row: &impl Serialize) -> Result<Map<String, Value>, ConvertError> {
    match serde_json::to_value(row) {
        Ok(Value::Object(map)) => Ok(map),
        Ok(_) => Err(refused("row")),
        Err(error) => {
            Err(ConvertError::Refused { message: format!("cannot be written as XML: {error}") })
        }
    }
}

fn item_of(list: &Shape) -> &Shape {
    match list {
        Shape::List(item) => item,
        other => other,
    }
}

/// A value of another shape than its field. The types do not allow this; if the value were dropped,
/// the loss would not be reported.
fn refused(name: &str) -> ConvertError {
    ConvertError::Refused {
        message: format!(
            "the value of {name:?} does not match the schema, so it cannot be written as XML; report this error"
        ),
    }
}

/// The text that has not been written to the sink yet.
struct Page(String);

impl Page {
    /// The list of runs, if there are any. After every run the text is written to the sink.
    fn runs(
        &mut self,
        field: &Field,
        survey: &mut dyn RunReader<Error = ConvertError>,
        sink: &mut impl Write,
    ) -> Result<(), ConvertError> {
        let (name, item) = (names::element(&field.name), item_of(&field.shape));
        let mut begun = false;
        while let Some(run) = survey.next_run()? {
            if !std::mem::replace(&mut begun, true) {
                self.line(1);
                self.open(name);
                self.0.push('\n');
            }
            self.line(2);
            self.element(&names::item(item), item, &Value::Object(object(&run)?), 2)?;
            survey.recycle(run.observations);
            self.0.push('\n');
            sink.write_all(self.0.as_bytes())?;
            self.0.clear();
        }
        if begun {
            self.line(1);
            self.close(name);
            self.0.push('\n');
        }
        Ok(())
    }

    fn line(&mut self, level: usize) {
        for _ in 0..level {
            self.0.push_str("  ");
        }
    }

    fn open(&mut self, name: &str) {
        self.0.push('<');
        self.0.push_str(name);
        self.0.push('>');
    }

    fn close(&mut self, name: &str) {
        self.0.push_str("</");
        self.0.push_str(name);
        self.0.push('>');
    }

    /// The element of a key. The tables of the document, and the only list in a row that is itself
    /// a table, have one line per row.
    fn field(
        &mut self,
        holder: &str,
        key: &str,
        shape: &Shape,
        value: &Value,
        level: usize,
    ) -> Result<(), ConvertError> {
        let name = names::element(key);
        match (shape, value) {
            (Shape::List(item), Value::Array(rows))
                if holder == "Document" || key == "observations" =>
            {
                if rows.is_empty() {
                    return Ok(());
                }
                self.open(name);
                for row in rows {
                    self.0.push('\n');
                    self.line(level + 1);
                    self.element(&names::item(item), item, row, level + 1)?;
                }
                self.0.push('\n');
                self.line(level);
                self.close(name);
                Ok(())
            }
            _ => self.element(name, shape, value, level),
        }
    }

    fn row(
        &mut self,
        shape: &ObjectShape,
        row: &Map<String, Value>,
        level: usize,
    ) -> Result<(), ConvertError> {
        let mut written = 0;
        for field in &shape.fields {
            if let Some(value) = row.get(&field.name) {
                self.field(&shape.name, &field.name, &field.shape, value, level)?;
                written += 1;
            }
        }
        if written == row.len() { Ok(()) } else { Err(refused(&shape.name)) }
    }

    fn element(
        &mut self,
        name: &str,
        shape: &Shape,
        value: &Value,
        level: usize,
    ) -> Result<(), ConvertError> {
        if let (Shape::Text, Value::String(text)) = (shape, value)
            && !text::is_plain(text)
        {
            self.0.push_str(&format!("<{name} {}=\"{}\">", names::ENCODING, names::JSON));
            self.0.push_str(&text::escape(&text::json(value)));
            self.close(name);
            return Ok(());
        }
        self.open(name);
        match (shape, value) {
            (Shape::Object(object), Value::Object(row)) => {
                self.row(shape::object(object), row, level)?
            }
            (Shape::List(item), Value::Array(items)) => {
                for each in items {
                    self.element(&names::item(item), item, each, level)?;
                }
            }
            (Shape::Extensions, Value::Object(entries)) => {
                for (key, entry) in entries {
                    let key = text::escape(key);
                    self.0.push_str(&format!(
                        "<{} {}=\"{key}\">",
                        names::EXTENSION,
                        names::EXTENSION_NAME
                    ));
                    self.0.push_str(&text::escape(&text::json(entry)));
                    self.close(names::EXTENSION);
                }
            }
            (Shape::Position, Value::Array(numbers)) => match numbers.as_slice() {
                [Value::Number(x), Value::Number(y)] => self.0.push_str(&format!("{x} {y}")),
                _ => return Err(refused(name)),
            },
            (Shape::Text | Shape::Word(_), Value::String(text)) => {
                self.0.push_str(&text::escape(text))
            }
            (Shape::Number | Shape::Whole, Value::Number(number)) => {
                self.0.push_str(&number.to_string())
            }
            (Shape::Bool, Value::Bool(flag)) => {
                self.0.push_str(if *flag { "true" } else { "false" })
            }
            _ => return Err(refused(name)),
        }
        self.close(name);
        Ok(())
    }
}
