//! Writing rows as nested XML.

use obvert_convert::ConvertError;
use obvert_convert::xml::markup::{escape, is_xml_char};
use obvert_model::layout::{Column, Layout, XmlForm};

use super::xml::prefix;

/// Refuses paths with prefixes: a layout cannot declare the namespaces of prefixes, and a file
/// without declarations is not readable.
pub(crate) fn bound(layout: &Layout, xml: &XmlForm) -> Result<(), ConvertError> {
    let columns = layout
        .columns
        .iter()
        .filter(|column| column.drop.is_none())
        .map(|column| column.heading.as_str());
    let Some((path, prefix)) = std::iter::once(xml.rows.as_str())
        .chain(columns)
        .find_map(|path| Some((path, prefix(path)?)))
    else {
        return Ok(());
    };
    let message = format!(
        "the layout {} has the prefix {prefix:?} in {path:?}, but a layout does not declare namespaces, so what it writes could not be \
         read; write by a layout whose paths have no prefixes",
        layout.id
    );
    Err(ConvertError::Refused { message })
}

/// An element to write.
#[derive(Default)]
struct Node {
    name: String,
    attributes: Vec<(String, String)>,
    text: String,
    children: Vec<Node>,
}

impl Node {
    fn new(name: &str) -> Self {
        Self { name: name.to_owned(), ..Self::default() }
    }

    /// Sets the value at a path below the element: names of elements, then `@attribute` or nothing
    /// for the text.
    fn put(&mut self, path: &str, value: &str, several: bool) {
        if let Some(attribute) = path.strip_prefix('@') {
            self.attributes.push((attribute.to_owned(), value.to_owned()));
            return;
        }
        let (name, rest) = path.split_once('/').unwrap_or((path, ""));
        if name.is_empty() {
            self.text.push_str(value);
            return;
        }
        let last = self.children.iter().rposition(|child| child.name == name && !several);
        let index = last.unwrap_or_else(|| {
            self.children.push(Self::new(name));
            self.children.len() - 1
        });
        self.children[index].put(rest, value, false);
    }

    /// The last element at a depth below this one.
    fn last_at(&mut self, depth: usize) -> &mut Self {
        let mut node = self;
        for _ in 0..depth {
            let Some(last) = node.children.len().checked_sub(1) else { break };
            node = &mut node.children[last];
        }
        node
    }

    fn write(&self, depth: usize, out: &mut String) {
        let indent = "  ".repeat(depth);
        out.push_str(&format!("{indent}<{}", self.name));
        for (name, value) in &self.attributes {
            out.push_str(&format!(
                " {name}=\"{}\"",
                escape(&characters(value)).replace('"', "&quot;")
            ));
        }
        if self.children.is_empty() && self.text.is_empty() {
            out.push_str("/>\n");
            return;
        }
        out.push('>');
        out.push_str(&escape(&characters(&self.text)));
        if !self.children.is_empty() {
            out.push('\n');
            for child in &self.children {
                child.write(depth + 1, out);
            }
            out.push_str(&indent);
        }
        out.push_str(&format!("</{}>\n", self.name));
    }
}

/// A text with characters of XML 1.0 only; the loss report lists the others.
fn characters(text: &str) -> String {
    text.chars().map(|letter| if is_xml_char(letter) { letter } else { '\u{fffd}' }).collect()
}

/// Writes rows as nested elements: an element around rows is written once for consecutive rows with
/// the same values for it.
pub(crate) fn write(layout: &Layout, rows: &[Vec<String>], xml: &XmlForm) -> Vec<u8> {
    let steps: Vec<&str> = xml.rows.split('/').collect();
    let nesting = Nesting {
        columns: layout.columns.iter().map(|column| Place::of(column, &steps)).collect(),
        steps,
    };
    let mut text = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    nesting.root(rows).write(0, &mut text);
    text.into_bytes()
}

/// Where a column is.
struct Place<'l> {
    column: &'l Column,
    /// The index of its element on the way to a row, from the root.
    level: usize,
    /// The path from there.
    path: &'l str,
}

impl<'l> Place<'l> {
    fn of(column: &'l Column, steps: &[&str]) -> Self {
        let path = column.heading.as_str();
        let elements = path.split('/').zip(steps).take_while(|(one, other)| one == *other).count();
        let rest = path.splitn(elements + 1, '/').nth(elements).unwrap_or_default();
        Self { column, level: elements.saturating_sub(1), path: rest }
    }

    /// The separator of several values in a cell, which become several elements.
    fn separator(&self) -> Option<&'l str> {
        let is_element = !self.path.is_empty() && !self.path.contains('@');
        self.column.separator.as_deref().filter(|_| is_element && self.column.kind.is_none())
    }
}

/// The nesting of rows.
struct Nesting<'l> {
    /// The elements on the way to a row.
    steps: Vec<&'l str>,
    columns: Vec<Place<'l>>,
}

impl Nesting<'_> {
    fn root(&self, rows: &[Vec<String>]) -> Node {
        let last = self.steps.len() - 1;
        let mut root =
            rows.first().map_or_else(|| Node::new(self.steps[0]), |row| self.node(row, 0));
        let mut before: Option<&Vec<String>> = None;
        for row in rows {
            // The outermost level at which this row has another element than the previous one.
            let differs = |level: &usize| {
                before.is_none_or(|before| !self.cells(before, *level).eq(self.cells(row, *level)))
            };
            let from = (1..last).find(differs).unwrap_or(last);
            // A row without values of its own is only needed for the elements around it, and for a
            // pipe without runs.
            let is_empty = |level: &usize| {
                (*level..=last).all(|level| self.cells(row, level).all(str::is_empty))
            };
            for level in (from.max(1)..=last).take_while(|level| !is_empty(level)) {
                root.last_at(level - 1).children.push(self.node(row, level));
            }
            before = Some(row);
        }
        root
    }

    /// The cells of a row in the element of a level.
    fn cells<'r>(&'r self, row: &'r [String], level: usize) -> impl Iterator<Item = &'r str> {
        row.iter()
            .zip(&self.columns)
            .filter(move |(_, place)| place.level == level)
            .map(|(cell, _)| cell.as_str())
    }

    /// The element of a level, for a row.
    fn node(&self, row: &[String], level: usize) -> Node {
        let mut node = Node::new(self.steps[level]);
        let own = row
            .iter()
            .zip(&self.columns)
            .filter(|(cell, place)| place.level == level && !cell.is_empty());
        for (cell, place) in own {
            match place.separator() {
                Some(separator) => {
                    cell.split(separator).for_each(|part| node.put(place.path, part, true))
                }
                None => node.put(place.path, cell, false),
            }
        }
        node
    }
}
