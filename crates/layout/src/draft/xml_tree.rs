//! The content of an XML file: its elements by their paths, and the values of its attributes and
//! elements. The markup reader is that of the XML format, which refuses document type declarations.

use std::collections::HashMap;

use obvert_convert::ConvertError;
use obvert_convert::xml::markup::{Start, Token, Tokens};

use super::statistics::Sample;
use super::{ENOUGH, refuse};
use crate::grid::{GridCell, GridRow};

/// A file with more paths is not a survey, and each takes memory.
const WIDEST: usize = 500;
/// An element with its path.
pub(super) struct Element {
    pub(super) name: String,
    pub(super) parent: Option<usize>,
    pub(super) depth: usize,
    /// How often it occurs in total, and at most in one element.
    pub(super) count: usize,
    pub(super) most: usize,
    has_elements: bool,
    has_attributes: bool,
}

impl Element {
    /// Whether it contains several values, rather than being one.
    pub(super) const fn is_record(&self) -> bool {
        self.has_elements || self.has_attributes
    }
}

/// An attribute, or an element that has text.
pub(super) struct Leaf {
    pub(super) element: usize,
    pub(super) attribute: Option<String>,
    /// Its first values, each with its line.
    pub(super) values: Vec<Sample>,
}

/// The content of a file.
#[derive(Default)]
pub(super) struct Tree {
    pub(super) elements: Vec<Element>,
    pub(super) leaves: Vec<Leaf>,
    children: HashMap<(Option<usize>, String), usize>,
    held: HashMap<(usize, Option<String>), usize>,
}

/// An open element.
struct Open {
    element: usize,
    within: HashMap<usize, usize>,
    text: String,
    text_at: usize,
}

impl Tree {
    /// Reads a file.
    ///
    /// # Errors
    /// When it is not well-formed, or has too many paths.
    pub(super) fn of(text: &str, file: &str) -> Result<Self, ConvertError> {
        let mut tree = Self::default();
        let mut tokens = Tokens::of_any(text, file);
        let mut open: Vec<Open> = Vec::new();
        loop {
            match tokens.next()? {
                Token::Start(start) => {
                    let next = tree.start(start, open.last_mut(), &mut tokens);
                    open.push(next);
                }
                Token::Text { text, offset } => {
                    if let Some(element) = open.last_mut() {
                        element.add(&text, offset, &tokens);
                    }
                }
                Token::End => tree.end(open.pop(), &mut tokens),
                Token::Eof => return Ok(tree),
            }
            if tree.leaves.len() > WIDEST {
                let why = format!(
                    "the file has more than {WIDEST} different paths of values, which no survey has; check that this is the right file"
                );
                return Err(refuse(file, 1, why));
            }
        }
    }

    /// Counts an element and adds the values of its attributes.
    fn start(
        &mut self,
        start: Start<'_>,
        parent: Option<&mut Open>,
        tokens: &mut Tokens<'_>,
    ) -> Open {
        let element = self.element(parent.as_ref().map(|parent| parent.element), start.name);
        let mut times = 1;
        if let Some(parent) = parent {
            self.elements[parent.element].has_elements = true;
            let within = parent.within.entry(element).or_default();
            *within += 1;
            times = *within;
        }
        let own = &mut self.elements[element];
        own.count += 1;
        own.most = own.most.max(times);
        own.has_attributes |= !start.attributes.is_empty();
        for (attribute, value, offset) in start.attributes {
            let line = tokens.line_column(offset).0;
            self.add(element, Some(attribute), value, line);
        }
        Open { element, within: HashMap::new(), text: String::new(), text_at: start.offset }
    }

    /// Adds the text of an element at its end.
    fn end(&mut self, element: Option<Open>, tokens: &mut Tokens<'_>) {
        if let Some(element) = element.filter(|element| !element.text.is_empty()) {
            let line = tokens.line_column(element.text_at).0;
            self.add(element.element, None, element.text.trim().to_owned(), line);
        }
    }

    fn element(&mut self, parent: Option<usize>, name: &str) -> usize {
        let key = (parent, name.to_owned());
        if let Some(known) = self.children.get(&key) {
            return *known;
        }
        let depth = parent.map_or(0, |parent| self.elements[parent].depth + 1);
        let name = name.to_owned();
        self.elements.push(Element {
            name,
            parent,
            depth,
            count: 0,
            most: 0,
            has_elements: false,
            has_attributes: false,
        });
        self.children.insert(key, self.elements.len() - 1);
        self.elements.len() - 1
    }

    fn add(&mut self, element: usize, attribute: Option<String>, value: String, line: usize) {
        let next = self.leaves.len();
        let leaf = *self.held.entry((element, attribute.clone())).or_insert(next);
        if leaf == next {
            self.leaves.push(Leaf { element, attribute, values: Vec::new() });
        }
        let values = &mut self.leaves[leaf].values;
        if values.len() < ENOUGH {
            values.push((value, line));
        }
    }

    /// The elements from the root to this one, inclusive.
    pub(super) fn spine(&self, element: usize) -> Vec<usize> {
        let mut spine: Vec<usize> =
            std::iter::successors(Some(element), |own| self.elements[*own].parent).collect();
        spine.reverse();
        spine
    }

    pub(super) fn path(&self, element: usize) -> String {
        let names: Vec<&str> =
            self.spine(element).iter().map(|own| self.elements[*own].name.as_str()).collect();
        names.join("/")
    }

    pub(super) fn heading(&self, leaf: &Leaf) -> String {
        let path = self.path(leaf.element);
        leaf.attribute.as_ref().map_or(path.clone(), |attribute| format!("{path}/@{attribute}"))
    }

    /// The element that a leaf belongs to: the nearest one of a spine; and the elements between,
    /// outermost first.
    pub(super) fn holder(&self, leaf: &Leaf, spine: &[usize]) -> (usize, Vec<usize>) {
        let all = self.spine(leaf.element);
        let shared = all.iter().zip(spine).take_while(|(one, other)| one == other).count();
        (all[shared.saturating_sub(1)], all[shared..].to_vec())
    }

    /// Whether one of the elements is a repeated record of its own.
    pub(super) fn repeats(&self, elements: &[usize]) -> bool {
        elements
            .iter()
            .any(|element| self.elements[*element].most > 1 && self.elements[*element].is_record())
    }
}

impl Open {
    fn add(&mut self, text: &str, offset: usize, tokens: &Tokens<'_>) {
        if !self.text.is_empty() {
            self.text.push_str(text);
        } else if !text.trim().is_empty() {
            // White space before a text is ignored; there is a lot between the elements of a long
            // list.
            self.text_at = tokens.past_space(offset);
            self.text.push_str(text.trim_start());
        }
    }
}

/// The first rows, each with its values at some paths.
///
/// # Errors
/// When the file is not well-formed.
pub(super) fn rows(
    text: &str,
    file: &str,
    path: &str,
    headings: &[&str],
) -> Result<Vec<GridRow>, ConvertError> {
    let mut tokens = Tokens::of_any(text, file);
    let mut rows = Rows { path, headings, rows: Vec::new(), open: Vec::new() };
    loop {
        match tokens.next()? {
            Token::Start(start) if rows.is_full(start.name) => return Ok(rows.rows),
            Token::Start(start) => {
                let line = tokens.line_column(start.offset).0;
                rows.start(&start, line);
            }
            Token::Text { text, .. } => rows.text(&text),
            Token::End => rows.end(),
            Token::Eof => return Ok(rows.rows),
        }
    }
}

/// Rows, while they are read.
struct Rows<'r> {
    /// The path of a row.
    path: &'r str,
    headings: &'r [&'r str],
    rows: Vec<GridRow>,
    /// The open elements: their paths and texts.
    open: Vec<(String, String)>,
}

impl Rows<'_> {
    fn path_of(&self, name: &str) -> String {
        self.open.last().map_or_else(|| name.to_owned(), |(parent, _)| format!("{parent}/{name}"))
    }

    /// Whether an element starts one row too many.
    fn is_full(&self, name: &str) -> bool {
        self.rows.len() == ENOUGH && self.path_of(name) == self.path
    }

    fn start(&mut self, start: &Start<'_>, line: usize) {
        let own = self.path_of(start.name);
        if own == self.path {
            let cells = vec![GridCell::default(); self.headings.len()];
            self.rows.push(GridRow { line, cells, ..GridRow::default() });
        }
        for (attribute, value, _) in &start.attributes {
            self.put(&format!("{own}/@{attribute}"), value);
        }
        self.open.push((own, String::new()));
    }

    fn text(&mut self, text: &str) {
        if let Some((_, own)) = self.open.last_mut() {
            own.push_str(text);
        }
    }

    fn end(&mut self) {
        if let Some((own, text)) = self.open.pop().filter(|(_, text)| !text.trim().is_empty()) {
            self.put(&own, &text);
        }
    }

    fn put(&mut self, heading: &str, value: &str) {
        let place = self.headings.iter().position(|own| *own == heading);
        if let (Some(place), Some(row)) = (place, self.rows.last_mut()) {
            row.cells[place].text = value.trim().to_owned();
        }
    }
}
