//! Nested XML, to a grid: a row is one element, and the data of its pipe and run are in the
//! elements around it, as attributes or as elements with text. The markup reader is that of the XML
//! format, which refuses document type declarations, so that nothing is ever expanded or fetched.

use std::borrow::Cow;
use std::collections::HashMap;

use obvert_convert::ConvertError;
use obvert_convert::xml::markup::{Start, Token, Tokens, text_of};
use obvert_model::layout::{Layout, XmlForm};

use super::{Grid, GridCell, GridRow, refuse};
use crate::encoding::{self, Charset};
use crate::plan::Plan;

/// The encoding in an XML declaration.
fn declared(source: &[u8]) -> Option<String> {
    let start = &source[..source.len().min(200)];
    let text: String = start.iter().map(|byte| char::from(*byte)).collect();
    let declaration = text.strip_prefix("<?xml")?.split("?>").next()?.to_ascii_lowercase();
    let name = declaration.split_once("encoding")?.1.trim_start().strip_prefix('=')?.trim_start();
    Some(name.strip_prefix(['"', '\''])?.split(['"', '\'']).next()?.to_owned())
}

/// The encoding of a file, by its declaration; UTF-8 by default.
///
/// # Errors
/// When it is not known, or is UTF-16, which is impossible for a file whose declaration is readable
/// as ASCII.
pub(crate) fn charset(source: &[u8], file: &str) -> Result<Charset, ConvertError> {
    let Some(label) = declared(source) else { return Ok(Charset::UTF_8) };
    Charset::of(&label).filter(|charset| !matches!(charset, Charset::Utf16 { .. })).ok_or_else(
        || {
            refuse(
                file,
                1,
                format!("the encoding {label:?} is not supported; save the document as UTF-8 and declare it"),
            )
        },
    )
}

/// The text of a file in its encoding.
///
/// # Errors
/// With the first line that is not valid in that encoding.
pub(crate) fn decode<'s>(
    source: &'s [u8],
    charset: Charset,
    file: &str,
) -> Result<Cow<'s, str>, ConvertError> {
    if charset == Charset::UTF_8 {
        return text_of(source, file).map(Cow::Borrowed);
    }
    let decoded =
        encoding::decode(source, Some(charset)).map_err(|(line, why)| refuse(file, line, why))?.0;
    Ok(Cow::Owned(text_of(decoded.as_bytes(), file)?.to_owned()))
}

/// An element that is open.
struct Open {
    path: String,
    /// Whether it is a row's element or one around it.
    is_around: bool,
    offset: usize,
    text: String,
    /// Where its text starts.
    text_at: usize,
    has_elements: bool,
    values: Values,
    /// The first row in it.
    first: usize,
}

/// The values of an element and of the elements in it except rows, by heading, and why they are
/// ambiguous, if they are.
#[derive(Default)]
struct Values {
    cells: Vec<(usize, GridCell)>,
    flaw: Option<String>,
}

/// The paths that have values, each with its index.
#[derive(Default)]
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
pub(crate) fn read(
    source: &[u8],
    file: &str,
    plan: &Plan<'_>,
    xml: &XmlForm,
) -> Result<Grid, ConvertError> {
    let charset = charset(source, file)?;
    if charset != Charset::UTF_8 && !source.is_ascii() && std::str::from_utf8(source).is_ok() {
        // Text that has non-ASCII letters and is valid UTF-8 is hardly ever in another encoding.
        let why = format!(
            "the XML declaration says {charset}, and the file is UTF-8; correct the declaration"
        );
        return Err(refuse(file, 1, why));
    }
    let text = decode(source, charset, file)?;
    let mut tokens = Tokens::of_any(&text, file);
    let mut reader = Reader::new(plan.layout, xml);
    loop {
        match tokens.next()? {
            Token::Start(start) => reader.start(start, &mut tokens)?,
            Token::Text { text, offset } => reader.text(&text, offset, &tokens),
            Token::End => reader.end(&mut tokens),
            Token::Eof => return Ok(reader.grid()),
        }
    }
}

/// Assembles elements into rows.
struct Reader<'r> {
    layout: &'r Layout,
    /// The path of a row's element.
    path: &'r str,
    headings: Headings,
    open: Vec<Open>,
    rows: Vec<(GridRow, Vec<(usize, GridCell)>)>,
}

impl<'r> Reader<'r> {
    fn new(layout: &'r Layout, xml: &'r XmlForm) -> Self {
        let mut headings = Headings::default();
        // Attributes have no order; if one is needed, as for media, it is that of the layout.
        for column in &layout.columns {
            headings.of(column.heading.to_string());
        }
        Self { layout, path: &xml.rows, headings, open: Vec::new(), rows: Vec::new() }
    }

    fn start(&mut self, start: Start<'_>, tokens: &mut Tokens<'_>) -> Result<(), ConvertError> {
        let root = self.path.split('/').next().unwrap_or_default();
        let path = match self.open.last_mut() {
            Some(parent) => {
                parent.has_elements = true;
                format!("{}/{}", parent.path, start.name)
            }
            None if start.name == root => root.to_owned(),
            None => {
                return Err(tokens.refuse(start.offset, wrong_root(start.name, root, self.layout)));
            }
        };
        let rest = self.path.strip_prefix(path.as_str());
        let mut values = Values::default();
        for (name, value, offset) in start.attributes {
            let (line, column) = tokens.line_column(offset);
            let heading = self.headings.of(format!("{path}/@{name}"));
            values
                .cells
                .push((heading, GridCell { text: value, line, column, ..GridCell::default() }));
        }
        self.open.push(Open {
            is_around: rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/')),
            path,
            offset: start.offset,
            text: String::new(),
            text_at: start.offset,
            has_elements: false,
            values,
            first: self.rows.len(),
        });
        Ok(())
    }

    fn text(&mut self, text: &str, offset: usize, tokens: &Tokens<'_>) {
        // There is a lot of white space between the elements of a long list, and it is not text.
        let is_between = |element: &Open| element.has_elements && text.trim().is_empty();
        if let Some(element) = self.open.last_mut().filter(|element| !is_between(element)) {
            if element.text.trim().is_empty() {
                element.text_at = tokens.past_space(offset);
            }
            element.text.push_str(text);
        }
    }

    fn end(&mut self, tokens: &mut Tokens<'_>) {
        let Some(mut element) = self.open.pop() else { return };
        if !element.text.trim().is_empty() {
            let (line, column) = tokens.line_column(element.text_at);
            // White space between elements is formatting, not text.
            let text = if element.has_elements {
                element.text.trim().to_owned()
            } else {
                element.text.clone()
            };
            let heading = self.headings.of(element.path.clone());
            element
                .values
                .cells
                .push((heading, GridCell { text, line, column, ..GridCell::default() }));
        }
        if !element.is_around {
            if let Some(holder) = self.open.last_mut() {
                holder.values.add(element.values, &self.headings.names, self.layout);
            }
            return;
        }
        // A pipe without runs is a row too, so that none of its values is lost.
        if element.path == self.path || element.first == self.rows.len() && !self.open.is_empty() {
            let line = tokens.line_column(element.offset).0;
            self.rows.push((GridRow { line, ..GridRow::default() }, Vec::new()));
        }
        for (row, values) in &mut self.rows[element.first..] {
            values.extend(element.values.cells.iter().cloned());
            row.flaw = row.flaw.take().or_else(|| element.values.flaw.clone());
        }
    }

    fn grid(self) -> Grid {
        let wide = self.headings.names.len();
        let rows = self.rows.into_iter().map(|(mut row, values)| {
            row.cells = vec![GridCell::default(); wide];
            for (heading, cell) in values {
                row.cells[heading] = cell;
            }
            row
        });
        Grid { rows: rows.collect(), headings: self.headings.names, ..Grid::default() }
    }
}

impl Values {
    /// Adds the values of an element in this one.
    fn add(&mut self, within: Self, headings: &[String], layout: &Layout) {
        for (heading, cell) in within.cells {
            self.add_one(heading, cell, &headings[heading], layout);
        }
        self.flaw = self.flaw.take().or(within.flaw);
    }

    /// Adds a value. Several values of one path are several values of one cell.
    fn add_one(&mut self, heading: usize, cell: GridCell, path: &str, layout: &Layout) {
        let Some((_, earlier)) = self.cells.iter_mut().find(|(other, _)| *other == heading) else {
            self.cells.push((heading, cell));
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
                    "{path} is duplicated, on lines {} and {}, and the layout has no separator; remove one, or add a separator",
                    earlier.line, cell.line
                ));
            }
        }
    }
}

/// The message for an unknown root element.
fn wrong_root(name: &str, root: &str, layout: &Layout) -> String {
    let bare = |name: &str| name.rsplit(':').next().unwrap_or_default().to_owned();
    let what = if bare(name) == bare(root) {
        "prefixes are compared literally, without their namespaces; use the same ones in both"
    } else {
        "check that this is the right file"
    };
    format!("the root element is <{name}>, and the layout {} has <{root}>; {what}", layout.id)
}

/// The prefix of a name in a path that has a namespace; `xml` has its own in every file.
pub(crate) fn prefix(path: &str) -> Option<&str> {
    path.split('/')
        .filter_map(|name| Some(name.trim_start_matches('@').split_once(':')?.0))
        .find(|prefix| *prefix != "xml")
}
