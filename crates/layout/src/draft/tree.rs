//! XML, as far as it must be understood before its paths can be judged: which element repeats as a row, what is around the rows,
//! and which attributes and elements hold values. The markup is read by the reader of the XML form, which refuses document type declarations.

use std::collections::{BTreeSet, HashMap};

use super::super::bytes;
use super::super::grid::{GridCell, GridRow};
use super::super::nested;
use super::choose::{Choice, Column, Level, choose};
use super::fill::{Form, Table};
use super::look::Look;
use super::marks::NumberMarks;
use super::words::vocabulary;
use super::{Draft, ENOUGH, american, fail, words};
use obvert_convert::ConvertError;
use obvert_convert::xml::NAMESPACE;
use obvert_convert::xml::markup::{Token, Tokens, text_of};

/// More paths than these are no survey, and each costs memory.
const WIDEST: usize = 500;
/// As many elements are tried as the row.
const TRIED: usize = 8;

/// An element by its path.
struct Element {
    name: String,
    parent: Option<usize>,
    depth: usize,
    /// How often it stands in all, and at most within one element.
    count: usize,
    most: usize,
    has_elements: bool,
    has_attributes: bool,
}

impl Element {
    /// Whether it holds several values, and is not one itself.
    const fn is_record(&self) -> bool {
        self.has_elements || self.has_attributes
    }
}

/// An attribute, or an element that has a text.
struct Leaf {
    element: usize,
    attribute: Option<String>,
    /// Its values, the first of them, each with its line.
    values: Vec<(String, usize)>,
}

/// What stands in a file.
#[derive(Default)]
struct Tree {
    elements: Vec<Element>,
    leaves: Vec<Leaf>,
    children: HashMap<(Option<usize>, String), usize>,
    held: HashMap<(usize, Option<String>), usize>,
}

/// An element that is open.
struct Open {
    element: usize,
    within: HashMap<usize, usize>,
    text: String,
    text_at: usize,
}

/// Drafts from XML.
pub(super) fn draft(source: &[u8], name: &str) -> Result<Draft, ConvertError> {
    let decoded;
    let declared = nested::declared(source);
    let text = match declared {
        Some(encoding) => {
            decoded = bytes::decode(source, Some(encoding)).map_err(|(line, why)| fail(name, line, why))?.0;
            text_of(decoded.as_bytes(), name)?
        }
        None => text_of(source, name)?,
    };
    let tree = Tree::of(text, name)?;
    if text.get(..text.len().min(4096)).unwrap_or(text).contains(NAMESPACE) {
        return Err(fail(name, 1, "this is a survey in the XML of this format already; it is read without a layout"));
    }
    let values = || tree.leaves.iter().flat_map(|leaf| &leaf.values).map(|(value, _)| value.as_str());
    let NumberMarks { marks, said, unsettled } = NumberMarks::of(values(), true);
    let american = american(values());
    let (mut guesses, mut open) = (Vec::new(), Vec::new());
    guesses.push(format!("XML in {}, for sure", declared.map_or("utf-8", |encoding| encoding.as_str())));
    guesses.extend(said);
    let mut columns: Vec<Column> = tree
        .leaves
        .iter()
        .map(|leaf| Column {
            heading: tree.heading(leaf),
            words: Vec::new(),
            look: Look::of(leaf.values.iter().map(|(value, line)| (value.as_str(), *line)), marks, american),
            level: Level::Beside,
            several: None,
            varies: None,
        })
        .collect();
    let (row, choices) = tree.best(&mut columns).ok_or_else(|| {
        let why = "no element stands more than once within another, so nothing tells which one is a row; draft from a file with several \
                   observations";
        fail(name, 1, why)
    })?;
    let element = &tree.elements[row];
    let around = element.parent.map_or("", |parent| tree.elements[parent].name.as_str());
    guesses.push(format!(
        "{} is a row: {} in all, up to {} within one <{around}>",
        tree.path(row),
        element.count,
        element.most
    ));
    for (level, what) in [(Level::Run, "run"), (Level::Pipe, "pipe")] {
        if let Some((holder, _)) = tree.levels(row).into_iter().find(|(_, own)| *own == level) {
            guesses
                .push(format!("{} is the {what} that the rows within are of, by where it stands", tree.path(holder)));
        }
    }
    if element.count > ENOUGH || tree.leaves.iter().any(|leaf| leaf.values.len() == ENOUGH) {
        guesses.push(format!("all by the first {ENOUGH} values of each path"));
    }
    let prefixes: BTreeSet<&str> = columns.iter().filter_map(|column| nested::prefix(&column.heading)).collect();
    if !prefixes.is_empty() {
        let prefixes: Vec<String> = prefixes.iter().map(|prefix| format!("{prefix:?}")).collect();
        open.push(format!(
            "the paths have prefixes ({}), and no layout says which namespaces they stand for: other files must have the same ones to be read, and \
             what is written needs a layout whose paths have none",
            prefixes.join(", ")
        ));
    }
    if text.contains(" xmlns") {
        open.push(
            "the file names namespaces (xmlns), which are not looked at when it is read, and which a file written by the layout \
             does not name"
                .to_owned(),
        );
    }
    let spine = tree.spine(row);
    let mut kept: Vec<(Column, Option<Choice>)> = Vec::new();
    for ((column, choice), leaf) in columns.into_iter().zip(choices).zip(&tree.leaves) {
        if leaf.attribute.is_none() && leaf.element != row && spine.contains(&leaf.element) {
            let (value, line) = leaf.values.first().cloned().unwrap_or_default();
            open.push(format!(
                "line {line}: {value:?} stands in <{}> beside elements, where no layout reads a text; put it into an element of its own",
                tree.elements[leaf.element].name
            ));
        } else {
            kept.push((column, choice));
        }
    }
    let (columns, choices): (Vec<Column>, Vec<Option<Choice>>) = kept.into_iter().unzip();
    // Of the rows, only the words for codes and the amounts are asked for.
    let of_rows = ["codes", "codes.detail", "runs.observations.quantities.value"];
    let is_asked =
        |choice: &Option<Choice>| choice.as_ref().is_some_and(|choice| of_rows.contains(&choice.target.to.as_str()));
    let asked: Vec<usize> = (0..choices.len()).filter(|column| is_asked(&choices[*column])).collect();
    let headings: Vec<&str> = asked.iter().map(|column| columns[*column].heading.as_str()).collect();
    let rows = rows(text, name, &tree.path(row), &headings)?;
    let cells: Vec<usize> =
        (0..columns.len()).map(|column| asked.iter().position(|own| *own == column).unwrap_or(usize::MAX)).collect();
    let rows: Vec<&GridRow> = rows.iter().collect();
    let table = Table {
        columns: &columns,
        choices: &choices,
        cells: &cells,
        rows: &rows,
        form: Form::Xml { rows: tree.path(row) },
        marks,
        unsettled,
        american,
        merged: &[],
    };
    table.draft(guesses, open)
}

impl Tree {
    fn of(text: &str, file: &str) -> Result<Self, ConvertError> {
        let mut tree = Self::default();
        let mut tokens = Tokens::of_any(text, file);
        let mut open: Vec<Open> = Vec::new();
        loop {
            match tokens.next()? {
                Token::Start(start) => {
                    let element = tree.element(open.last().map(|open| open.element), start.name);
                    tree.elements[element].count += 1;
                    let times = match open.last_mut() {
                        Some(parent) => {
                            tree.elements[parent.element].has_elements = true;
                            let times = parent.within.entry(element).or_default();
                            *times += 1;
                            *times
                        }
                        None => 1,
                    };
                    let own = &mut tree.elements[element];
                    own.most = own.most.max(times);
                    own.has_attributes |= !start.attributes.is_empty();
                    for (attribute, value, offset) in start.attributes {
                        let line = tokens.line_column(offset).0;
                        tree.add(element, Some(attribute), value, line);
                    }
                    let text_at = start.offset;
                    open.push(Open { element, within: HashMap::new(), text: String::new(), text_at });
                }
                Token::Text { text, offset } => {
                    let Some(element) = open.last_mut() else { continue };
                    if !element.text.is_empty() {
                        element.text.push_str(&text);
                    } else if !text.trim().is_empty() {
                        // White space before a text is none of it; between the elements of a long list there is much.
                        element.text_at = tokens.past_space(offset);
                        element.text.push_str(text.trim_start());
                    }
                }
                Token::End => {
                    let Some(element) = open.pop() else { continue };
                    if !element.text.is_empty() {
                        let line = tokens.line_column(element.text_at).0;
                        tree.add(element.element, None, element.text.trim().to_owned(), line);
                    }
                }
                Token::Eof => break,
            }
            if tree.leaves.len() > WIDEST {
                let why = format!(
                    "attributes and elements on more than {WIDEST} different paths; no survey has so many kinds of values"
                );
                return Err(fail(file, 1, why));
            }
        }
        Ok(tree)
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

    /// The elements from the root to one, that one included.
    fn spine(&self, element: usize) -> Vec<usize> {
        let mut spine: Vec<usize> = std::iter::successors(Some(element), |own| self.elements[*own].parent).collect();
        spine.reverse();
        spine
    }

    fn path(&self, element: usize) -> String {
        let names: Vec<&str> = self.spine(element).iter().map(|own| self.elements[*own].name.as_str()).collect();
        names.join("/")
    }

    fn heading(&self, leaf: &Leaf) -> String {
        let path = self.path(leaf.element);
        leaf.attribute.as_ref().map_or(path.clone(), |attribute| format!("{path}/@{attribute}"))
    }

    /// What a leaf is of: the nearest element of a spine, and the elements between, the outermost first.
    fn holder(&self, leaf: &Leaf, spine: &[usize]) -> (usize, Vec<usize>) {
        let all = self.spine(leaf.element);
        let shared = all.iter().zip(spine).take_while(|(one, other)| one == other).count();
        (all[shared.saturating_sub(1)], all[shared..].to_vec())
    }

    /// What the elements around a row, and the row, are for: the innermost that holds values is the run, the one around it the pipe.
    fn levels(&self, row: usize) -> Vec<(usize, Level)> {
        let spine = self.spine(row);
        let mut holders: Vec<usize> = Vec::new();
        for leaf in &self.leaves {
            let (holder, between) = self.holder(leaf, &spine);
            if holder != row && !self.repeats(&between) && !holders.contains(&holder) {
                holders.push(holder);
            }
        }
        holders.sort_by_key(|holder| std::cmp::Reverse(self.elements[*holder].depth));
        let alone = holders.is_empty();
        let outer = [Level::Run, Level::Pipe].into_iter().chain(std::iter::repeat(Level::Document));
        let mut levels: Vec<(usize, Level)> = holders.into_iter().zip(outer).collect();
        // A root is a pipe only if it is called so: most hold what is of all pipes.
        let called = |element: usize| words::words(&self.elements[element].name);
        let pipe = vocabulary().targets.iter().find(|target| target.to == "pipes.id");
        if let Some((root, level)) =
            levels.iter_mut().find(|(holder, level)| *level == Level::Pipe && self.elements[*holder].parent.is_none())
            && pipe.is_some_and(|pipe| words::named(&called(*root), pipe) < 0.9)
        {
            *level = Level::Document;
        }
        levels.push((row, if alone { Level::Any } else { Level::Row }));
        levels
    }

    /// Whether one of the elements is a record of its own that stands several times.
    fn repeats(&self, elements: &[usize]) -> bool {
        elements.iter().any(|element| self.elements[*element].most > 1 && self.elements[*element].is_record())
    }

    /// Says of the columns where they stand if an element is the row.
    fn place(&self, row: usize, columns: &mut [Column]) {
        let (spine, levels) = (self.spine(row), self.levels(row));
        for (column, leaf) in columns.iter_mut().zip(&self.leaves) {
            let (holder, between) = self.holder(leaf, &spine);
            let level = levels.iter().find(|(own, _)| *own == holder).map(|(_, level)| *level);
            // What repeats within a row is several values of it; what repeats beside the rows is of none of them.
            column.level = level.filter(|_| holder == row || !self.repeats(&between)).unwrap_or(Level::Beside);
            let several = between.iter().any(|element| self.elements[*element].most > 1);
            let free = |separator: &&str| !leaf.values.iter().any(|(value, _)| value.contains(*separator));
            column.several = several.then(|| ["; ", "|", " / "].into_iter().find(free).unwrap_or("\u{b6}"));
            column.words = self.words(leaf, holder, &between, column.level);
        }
    }

    /// The words for a leaf: its path within the element that it is of, the last of it alone, and where those say nothing, the
    /// name of that element beside them.
    fn words(&self, leaf: &Leaf, holder: usize, between: &[usize], level: Level) -> Vec<Vec<String>> {
        // A prefix says of which namespace a name is, and not what it means.
        let plain = |name: &str| words::words(name.rsplit(':').next().unwrap_or(name));
        let own = between.iter().map(|element| self.elements[*element].name.as_str());
        let parts: Vec<Vec<String>> = own.chain(leaf.attribute.as_deref()).map(plain).collect();
        let of_holder = plain(&self.elements[holder].name);
        let whole = parts.concat();
        if words::is_bare(&whole) {
            let mut named =
                vocabulary().targets.iter().filter(|target| ["pipes.id", "runs.id"].contains(&target.to.as_str()));
            // What its name says counts for more than where it stands.
            let said = named.any(|target| words::named(&of_holder, target) >= 0.9);
            let kind = match level {
                Level::Pipe if !said => Some("pipe"),
                Level::Run if !said => Some("run"),
                _ => None,
            };
            let mut all = vec![[of_holder, whole].concat()];
            all.extend(kind.map(|kind| vec![kind.to_owned()]));
            return all;
        }
        let last = parts.last().cloned().unwrap_or_default();
        if parts.len() > 1 { vec![whole, last] } else { vec![whole] }
    }

    /// The element that is a row: of those that repeat the one whose values make most sense as those of an observation, the deeper of
    /// two that are alike; with what is chosen for each column then.
    fn best(&self, columns: &mut [Column]) -> Option<(usize, Vec<Option<Choice>>)> {
        let repeat = |element: &&usize| self.elements[**element].most > 1 && self.elements[**element].is_record();
        let all: Vec<usize> = (0..self.elements.len()).collect();
        let mut rows: Vec<usize> = all.iter().filter(repeat).copied().collect();
        rows.sort_by_key(|row| std::cmp::Reverse((self.elements[*row].depth, self.elements[*row].count)));
        rows.truncate(TRIED);
        let mut best: Option<(f64, usize)> = None;
        for row in rows {
            self.place(row, columns);
            let spine = self.spine(row);
            // Values of records that repeat within are those of other rows.
            let own = |leaf: &Leaf| {
                let (holder, between) = self.holder(leaf, &spine);
                holder == row && !self.repeats(&between)
            };
            let of_row = |((column, choice), leaf): ((&Column, &Option<Choice>), &Leaf)| {
                let choice =
                    choice.as_ref().filter(|_| matches!(column.level, Level::Row | Level::Any) && own(leaf))?;
                let seen = choice.target.to.starts_with("runs.observations.") || choice.target.to.starts_with("codes");
                seen.then_some(choice.confidence)
            };
            let choices = choose(columns);
            let sense: f64 = columns.iter().zip(&choices).zip(&self.leaves).filter_map(of_row).sum();
            if best.is_none_or(|(most, _)| sense > most) {
                best = Some((sense, row));
            }
        }
        let (_, row) = best?;
        self.place(row, columns);
        Some((row, choose(columns)))
    }
}

/// The first rows, each with the values on some paths.
fn rows(text: &str, file: &str, path: &str, headings: &[&str]) -> Result<Vec<GridRow>, ConvertError> {
    let mut tokens = Tokens::of_any(text, file);
    let mut rows: Vec<GridRow> = Vec::new();
    let mut open: Vec<(String, String)> = Vec::new();
    let put = |rows: &mut Vec<GridRow>, heading: &str, value: &str| {
        if let (Some(at), Some(row)) = (headings.iter().position(|own| *own == heading), rows.last_mut()) {
            row.cells[at].text = value.trim().to_owned();
        }
    };
    loop {
        match tokens.next()? {
            Token::Start(start) => {
                let own = match open.last() {
                    Some((parent, _)) => format!("{parent}/{}", start.name),
                    None => start.name.to_owned(),
                };
                if own == path {
                    if rows.len() == ENOUGH {
                        return Ok(rows);
                    }
                    let line = tokens.line_column(start.offset).0;
                    rows.push(GridRow { line, cells: vec![GridCell::default(); headings.len()], ..GridRow::default() });
                }
                for (attribute, value, _) in &start.attributes {
                    put(&mut rows, &format!("{own}/@{attribute}"), value);
                }
                open.push((own, String::new()));
            }
            Token::Text { text, .. } => {
                if let Some((_, own)) = open.last_mut() {
                    own.push_str(&text);
                }
            }
            Token::End => {
                if let Some((own, text)) = open.pop()
                    && !text.trim().is_empty()
                {
                    put(&mut rows, &own, &text);
                }
            }
            Token::Eof => return Ok(rows),
        }
    }
}
