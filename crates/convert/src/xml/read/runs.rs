//! The runs of a document, read one at a time: the elements of a run are dropped before the next
//! is read.

use obvert_model::shape::{self, Field, Shape};
use obvert_model::tables::Head;
use serde_json::{Map, Value};

use super::super::names;
use super::build::Build;
use super::tokens::{Start, Token};
use crate::runs::{RunValues, TypedRuns};
use crate::source::Locations;
use crate::{ConvertError, Location, SourceMap};

/// Reads the head. Elements are in the order of the schema, in which the runs are last.
pub(super) fn runs<'t>(
    text: &'t str,
    name: &str,
    locations: Locations,
) -> Result<TypedRuns<XmlRuns<'t>>, ConvertError> {
    let mut build = Build::new(text, name, locations);
    let root = build.root()?;
    let fields = &shape::document().fields;
    let mut row = Map::new();
    let mut last = None;
    let mut list = None;
    while let Some(start) = build.child(&root, "")? {
        let index = fields.iter().position(|field| names::element(&field.name) == start.name);
        let index =
            index.filter(|index| start.foreign.is_none() && last.is_none_or(|last| *index > last));
        let Some(index) = index else { return Err(build.out_of_place(&start)) };
        last = Some(index);
        let field = &fields[index];
        let pointer = format!("/{}", field.name);
        build.record(&pointer, start.offset);
        if let (Shape::List(item), "runs") = (&field.shape, field.name.as_str()) {
            build.attributes(&start, &pointer, &[]);
            list = Some(RunList { field, item, start });
            break;
        }
        let value = build.value(field, &field.shape, &start, &pointer)?;
        row.insert(field.name.clone(), value);
    }
    build.check_valid()?;
    let head = Head::deserialize(Value::Object(row));
    let head = head.map_err(|error| build.invalid(root.offset, error.to_string()))?;
    Ok(TypedRuns::new(XmlRuns { build, root, list, offset: None }, head))
}

/// The runs of a document, as values.
pub(super) struct XmlRuns<'t> {
    build: Build<'t>,
    root: Start<'t>,
    /// The list of runs; `None` if the document has none.
    list: Option<RunList<'t>>,
    /// Where the run that was read last starts.
    offset: Option<usize>,
}

/// The element that holds the runs.
struct RunList<'t> {
    field: &'static Field,
    item: &'static Shape,
    start: Start<'t>,
}

impl XmlRuns<'_> {
    /// Reads what comes after the runs: only the end of the root is allowed there.
    fn read_end(&mut self) -> Result<(), ConvertError> {
        if self.list.is_some()
            && let Some(more) = self.build.child(&self.root, "")?
        {
            return Err(self.build.out_of_place(&more));
        }
        while !matches!(self.build.tokens.next()?, Token::Eof) {}
        self.build.check_valid()
    }
}

impl RunValues for XmlRuns<'_> {
    fn next_value(&mut self, pointer: &str) -> Result<Option<Value>, ConvertError> {
        self.offset = None;
        let Some(RunList { field, item, start: parent }) = &self.list else {
            self.read_end()?;
            return Ok(None);
        };
        let Some(start) = self.build.child(parent, "/runs")? else {
            self.read_end()?;
            return Ok(None);
        };
        if start.foreign.is_some() || start.name != names::item(item) {
            return Err(self.build.out_of_place(&start));
        }
        self.offset = Some(start.offset);
        self.build.record(pointer, start.offset);
        let value = self.build.value(field, item, &start, pointer)?;
        self.build.check_valid()?;
        Ok(Some(value))
    }

    fn location(&mut self) -> Option<Location> {
        Some(self.build.tokens.place(self.offset?))
    }

    fn into_locations(self) -> Option<SourceMap> {
        self.build.file.map(|_| self.build.places)
    }
}

#[cfg(test)]
mod tests {
    use obvert_model::read::RunReader;

    use super::*;

    /// The shape of a run is used for each of several runs: nothing of the last may be left.
    #[test]
    fn the_end_is_read_once() {
        let text = format!(
            "<survey xmlns=\"{}\"><obvert>0.2</obvert><id>d</id><issued>2026-05-06T16:20:00-05:00</issued><units><length>ft</length>\
             <section>in</section></units><coding><list>obvert-terms</list><version>1</version></coding><runs><run><id>R</id><pipe>P</pipe>\
             <direction>downstream</direction></run></runs></survey>",
            crate::xml::NAMESPACE
        );
        let mut runs = runs(&text, "s.xml", Locations::Skipped).unwrap();
        assert_eq!(runs.next_run().unwrap().unwrap().id.as_str(), "R");
        for _ in 0..2 {
            assert_eq!(runs.next_run().unwrap(), None);
        }
    }
}
