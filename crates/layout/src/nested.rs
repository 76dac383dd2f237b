//! XML that nests what a table has side by side, to a grid and back: a row is one element, and what is known of its pipe and run
//! stands in the elements around it, as attributes or as elements with a text. The markup is read by the reader of the XML
//! form, which refuses document type declarations, so that nothing is ever expanded or fetched.

use std::collections::HashMap;

use obvert_model::layout::{Encoding, Layout, XmlForm};

use super::bytes;
use super::grid::{Grid, GridCell, GridRow};
use obvert_convert::xml::markup::{Token, Tokens, escape, is_xml_char, text_of};
use obvert_convert::{ConvertError, Location};

/// The encoding that an XML declaration names, where it is one that is known.
pub(super) fn declared(source: &[u8]) -> Option<Encoding> {
    let start = &source[..source.len().min(200)];
    let text: String = start.iter().map(|byte| char::from(*byte)).collect();
    let declaration = text.strip_prefix("<?xml")?.split("?>").next()?.to_ascii_lowercase();
    let name = declaration.split_once("encoding")?.1.trim_start().strip_prefix('=')?.trim_start();
    let name = name.strip_prefix(['"', '\''])?.split(['"', '\'']).next()?;
    match name {
        "iso-8859-1" => Some(Encoding::Iso88591),
        "windows-1252" => Some(Encoding::Windows1252),
        _ => None,
    }
}

/// An element that is open.
struct Open {
    path: String,
    /// Whether it is a row's element or one around it.
    spine: bool,
    offset: usize,
    text: String,
    /// Where the text begins.
    text_at: usize,
    parent_of_elements: bool,
    /// What stands in it and in what it has beside rows, by heading.
    values: Vec<(usize, GridCell)>,
    /// The first row below it.
    first: usize,
    flaw: Option<String>,
}

struct Headings {
    names: Vec<String>,
    known: HashMap<String, usize>,
}

impl Headings {
    fn of(&mut self, name: String) -> usize {
        if let Some(index) = self.known.get(&name) {
            return *index;
        }
        self.names.push(name.clone());
        self.known.insert(name, self.names.len() - 1);
        self.names.len() - 1
    }
}

/// Reads a file of nested elements.
pub(super) fn read(source: &[u8], file: &str, layout: &Layout, xml: &XmlForm) -> Result<Grid, ConvertError> {
    let decoded;
    let text = match declared(source) {
        Some(encoding) => {
            let form = |(line, message)| ConvertError::Form {
                place: Some(Location { file: file.to_owned(), line, column: None, heading: None }),
                message,
            };
            // Letters beyond ASCII that are UTF-8 from the first to the last are seldom anything else by chance.
            if !source.is_ascii() && std::str::from_utf8(source).is_ok() {
                let why =
                    format!("the XML declaration says {encoding}, and the file is UTF-8; correct the declaration");
                return Err(form((1, why)));
            }
            decoded = bytes::decode(source, Some(encoding)).map_err(form)?.0;
            text_of(decoded.as_bytes(), file)?
        }
        None => text_of(source, file)?,
    };
    let mut tokens = Tokens::of_any(text, file);
    let mut headings = Headings { names: Vec::new(), known: HashMap::new() };
    // Attributes have no order of their own; where one matters, as among media, it is that of the layout.
    for column in &layout.columns {
        headings.of(column.heading.to_string());
    }
    let mut open: Vec<Open> = Vec::new();
    let mut rows: Vec<(GridRow, Vec<(usize, GridCell)>)> = Vec::new();
    let root = xml.rows.split('/').next().unwrap_or_default();
    loop {
        match tokens.next()? {
            Token::Start(start) => {
                let path = match open.last_mut() {
                    Some(parent) => {
                        parent.parent_of_elements = true;
                        format!("{}/{}", parent.path, start.name)
                    }
                    None if start.name != root => {
                        let bare = |name: &str| name.rsplit(':').next().unwrap_or_default().to_owned();
                        let what = if bare(start.name) == bare(root) {
                            "prefixes are taken as they are, whatever namespace they stand for, so write the same ones in both"
                        } else {
                            "is this the right file?"
                        };
                        let message = format!(
                            "the root element is <{}>, where the layout {} has <{root}>; {what}",
                            start.name, layout.id
                        );
                        return Err(tokens.refuse(start.offset, message));
                    }
                    None => root.to_owned(),
                };
                let spine =
                    xml.rows.strip_prefix(path.as_str()).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'));
                let mut values = Vec::new();
                for (name, value, offset) in start.attributes {
                    let (line, column) = tokens.line_column(offset);
                    let heading = headings.of(format!("{path}/@{name}"));
                    values.push((heading, GridCell { text: value, line, column, ..GridCell::default() }));
                }
                open.push(Open {
                    path,
                    spine,
                    offset: start.offset,
                    text: String::new(),
                    text_at: start.offset,
                    parent_of_elements: false,
                    values,
                    first: rows.len(),
                    flaw: None,
                });
            }
            Token::Text { text, offset } => {
                // White space between the elements of a long list is much, and none of a text.
                let between = |element: &Open| element.parent_of_elements && text.trim().is_empty();
                if let Some(element) = open.last_mut().filter(|element| !between(element)) {
                    if element.text.trim().is_empty() {
                        element.text_at = tokens.past_space(offset);
                    }
                    element.text.push_str(&text);
                }
            }
            Token::End => {
                let Some(mut element) = open.pop() else { continue };
                if !element.text.trim().is_empty() {
                    let (line, column) = tokens.line_column(element.text_at);
                    // White space between the elements in it is layout of the file and none of the text.
                    let whole = !element.parent_of_elements;
                    let text = if whole { element.text.clone() } else { element.text.trim().to_owned() };
                    let heading = headings.of(element.path.clone());
                    element.values.push((heading, GridCell { text, line, column, ..GridCell::default() }));
                }
                let line = tokens.line_column(element.offset).0;
                if !element.spine {
                    if let Some(holder) = open.last_mut() {
                        for (heading, cell) in element.values {
                            holder.add(heading, cell, &headings.names[heading], layout);
                        }
                        holder.flaw = holder.flaw.take().or(element.flaw);
                    }
                    continue;
                }
                let is_row = element.path == *xml.rows;
                // A pipe that nobody looked into is a row all the same, so that nothing of it goes missing.
                if is_row || element.first == rows.len() && !open.is_empty() {
                    rows.push((GridRow { line, ..GridRow::default() }, Vec::new()));
                }
                for (row, values) in &mut rows[element.first..] {
                    values.extend(element.values.iter().cloned());
                    row.flaw = row.flaw.take().or_else(|| element.flaw.clone());
                }
            }
            Token::Eof => break,
        }
    }
    let wide = headings.names.len();
    let rows = rows
        .into_iter()
        .map(|(mut row, values)| {
            row.cells = vec![GridCell::default(); wide];
            for (heading, cell) in values {
                row.cells[heading] = cell;
            }
            row
        })
        .collect();
    Ok(Grid { headings: headings.names, heading_line: 0, rows, ..Grid::default() })
}

impl Open {
    /// Adds a value of an element within. Several of one path are several values of one cell.
    fn add(&mut self, heading: usize, cell: GridCell, path: &str, layout: &Layout) {
        let Some((_, earlier)) = self.values.iter_mut().find(|(other, _)| *other == heading) else {
            self.values.push((heading, cell));
            return;
        };
        let column = layout.columns.iter().find(|column| *column.heading == *path);
        match column.and_then(|column| column.separator.as_deref()) {
            Some(separator) => {
                earlier.text.push_str(separator);
                earlier.text.push_str(&cell.text);
            }
            None => {
                self.flaw = Some(format!(
                    "{path} stands twice, on lines {} and {}, and the layout has no separator for several",
                    earlier.line, cell.line
                ));
            }
        }
    }
}

/// The prefix of a name in a path that stands for a namespace; `xml` stands for its own in every file.
pub(super) fn prefix(path: &str) -> Option<&str> {
    path.split('/')
        .filter_map(|name| Some(name.trim_start_matches('@').split_once(':')?.0))
        .find(|prefix| *prefix != "xml")
}

/// Refuses to write paths with prefixes: a layout has no place for the namespaces that they stand for, and nobody could read what does not
/// say them.
pub(super) fn bound(layout: &Layout, xml: &XmlForm) -> Result<(), ConvertError> {
    let columns = layout.columns.iter().filter(|column| column.drop.is_none()).map(|column| column.heading.as_str());
    let Some((path, prefix)) =
        std::iter::once(xml.rows.as_str()).chain(columns).find_map(|path| Some((path, prefix(path)?)))
    else {
        return Ok(());
    };
    let message = format!(
        "the layout {} has the prefix {prefix:?} in {path:?}, and no layout says which namespace a prefix stands for, so that nobody could read \
         what it writes; write by a layout whose paths have no prefixes",
        layout.id
    );
    Err(ConvertError::Refused { message })
}

/// An element to be written.
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

    /// Puts a value at a path below the element: names of elements, then `@attribute` or nothing for the text.
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

    fn write(&self, depth: usize, out: &mut String) {
        let indent = "  ".repeat(depth);
        out.push_str(&format!("{indent}<{}", self.name));
        for (name, value) in &self.attributes {
            out.push_str(&format!(" {name}=\"{}\"", escape(&characters(value)).replace('"', "&quot;")));
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

/// A text with only characters that XML 1.0 can hold; the others come back otherwise, which the loss report says.
fn characters(text: &str) -> String {
    text.chars().map(|letter| if is_xml_char(letter) { letter } else { '\u{fffd}' }).collect()
}

/// Writes rows as nested elements: an element around rows is written once for those in a row that agree about it.
pub(super) fn write(layout: &Layout, rows: &[Vec<String>], xml: &XmlForm) -> Vec<u8> {
    let steps: Vec<&str> = xml.rows.split('/').collect();
    // For each column how deep in the spine its element is, and the path from there.
    let columns: Vec<(usize, &str)> = layout
        .columns
        .iter()
        .map(|column| {
            let path = column.heading.as_str();
            let elements = path.split('/').zip(&steps).take_while(|(one, other)| one == *other).count();
            let rest = path.splitn(elements + 1, '/').nth(elements).unwrap_or_default();
            (elements.saturating_sub(1), rest)
        })
        .collect();
    let of_level = |row: &[String], level: usize| -> Vec<String> {
        row.iter().zip(&columns).filter(|(_, (own, _))| *own == level).map(|(cell, _)| cell.clone()).collect()
    };
    let node = |row: &[String], level: usize| {
        let mut node = Node::new(steps[level]);
        for ((cell, (own, path)), column) in row.iter().zip(&columns).zip(&layout.columns) {
            if *own != level || cell.is_empty() {
                continue;
            }
            match column.separator.as_deref().filter(|_| !path.is_empty() && !path.contains('@')) {
                Some(separator) if column.kind.is_none() => {
                    cell.split(separator).for_each(|part| node.put(path, part, true));
                }
                _ => node.put(path, cell, false),
            }
        }
        node
    };
    let last = steps.len() - 1;
    let mut root = rows.first().map_or_else(|| Node::new(steps[0]), |row| node(row, 0));
    let mut before: Option<&Vec<String>> = None;
    for row in rows {
        // The outermost level at which this row is of another element than the one before.
        let differs = |level: &usize| before.is_none_or(|before| of_level(before, *level) != of_level(row, *level));
        let from = (1..last).find(differs).unwrap_or(last);
        for level in from..=last {
            // A row that holds nothing of its own only stands for what is around it, and a pipe without runs for itself.
            if level > 0 && (level..=last).all(|level| of_level(row, level).iter().all(String::is_empty)) {
                break;
            }
            let mut holder = &mut root;
            for _ in 1..level {
                let Some(index) = holder.children.len().checked_sub(1) else { break };
                holder = &mut holder.children[index];
            }
            if level > 0 {
                holder.children.push(node(row, level));
            }
        }
        before = Some(row);
    }
    let mut text = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    root.write(0, &mut text);
    text.into_bytes()
}
