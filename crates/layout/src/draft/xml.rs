//! A draft from XML: finds the repeated element that is a row, and the elements around rows.

use std::collections::BTreeSet;

use obvert_convert::ConvertError;
use obvert_convert::xml::NAMESPACE;
use obvert_model::layout::{Record, Target};

use super::analysis::{Analysis, FileKind};
use super::choice::{Choice, Column, Level, choose};
use super::statistics::{ColumnStatistics, NumberMarks};
use super::vocabulary::{self, Role};
use super::xml_tree::{Leaf, Tree, rows};
use super::{Draft, ENOUGH, construct, is_american, refuse};
use crate::grid::GridRow;
use crate::grid::xml;

/// The number of elements that are tried as a row.
const TRIED: usize = 8;

/// Drafts from XML.
pub(super) fn draft(source: &[u8], name: &str) -> Result<Draft, ConvertError> {
    let charset = xml::charset(source, name)?;
    let text: &str = &xml::decode(source, charset, name)?;
    let tree = Tree::of(text, name)?;
    if text.get(..text.len().min(4096)).unwrap_or(text).contains(NAMESPACE) {
        let why = "this is already a survey in the XML of the format; read it without a layout";
        return Err(refuse(name, 1, why));
    }
    let values =
        || tree.leaves.iter().flat_map(|leaf| &leaf.values).map(|(value, _)| value.as_str());
    let NumberMarks { marks, reasons, unsettled } = NumberMarks::of(values(), true);
    let american = is_american(values());
    let mut guesses = vec![format!("XML in {charset}, declared")];
    guesses.extend(reasons);
    let column = |leaf: &Leaf| Column {
        heading: tree.heading(leaf),
        words: Vec::new(),
        statistics: ColumnStatistics::of(
            leaf.values.iter().map(|(value, line)| (value.as_str(), *line)),
            marks,
            american,
        ),
        level: Level::Beside,
        several: None,
        varies: None,
    };
    let mut columns: Vec<Column> = tree.leaves.iter().map(column).collect();
    let (row, choices) = best_row(&tree, &mut columns).ok_or_else(|| {
        let why = "no element is repeated in another one, so the element of a row cannot be determined; draft from a file with several \
                   observations";
        refuse(name, 1, why)
    })?;
    guesses.extend(about_row(&tree, row));
    let mut open = about_namespaces(text, &columns);
    let (columns, choices) = without_texts(&tree, row, columns, choices, &mut open);
    // Only the words for codes and the amounts need values row by row.
    let asked: Vec<usize> =
        (0..choices.len()).filter(|column| is_asked(choices[*column].as_ref())).collect();
    let headings: Vec<&str> =
        asked.iter().map(|column| columns[*column].heading.as_str()).collect();
    let rows = rows(text, name, &tree.path(row), &headings)?;
    let cell = |column: usize| asked.iter().position(|own| *own == column).unwrap_or(usize::MAX);
    let cells: Vec<usize> = (0..columns.len()).map(cell).collect();
    let rows: Vec<&GridRow> = rows.iter().collect();
    let form = FileKind::Xml { rows: tree.path(row) };
    let analysis = Analysis {
        columns: &columns,
        choices: &choices,
        cells: &cells,
        rows: &rows,
        form,
        marks,
        unsettled,
        american,
        merged: &[],
    };
    construct::draft(&analysis, guesses, open)
}

/// Whether the values of a column are needed row by row.
fn is_asked(choice: Option<&Choice>) -> bool {
    choice.is_some_and(|choice| {
        matches!(choice.role(), Role::Codes | Role::CodeDetail | Role::Field(Target::AMOUNT))
    })
}

/// The assumptions about the element of a row and those around it.
fn about_row(tree: &Tree, row: usize) -> Vec<String> {
    let element = &tree.elements[row];
    let around = element.parent.map_or("", |parent| tree.elements[parent].name.as_str());
    let (path, count, most) = (tree.path(row), element.count, element.most);
    let mut guesses =
        vec![format!("{path} is a row: {count} in all, up to {most} within one <{around}>")];
    for (level, what) in [(Level::Run, "run"), (Level::Pipe, "pipe")] {
        if let Some((holder, _)) = levels(tree, row).into_iter().find(|(_, own)| *own == level) {
            let path = tree.path(holder);
            guesses.push(format!("{path} is the {what} of the rows in it, by its position"));
        }
    }
    if count > ENOUGH || tree.leaves.iter().any(|leaf| leaf.values.len() == ENOUGH) {
        guesses.push(format!("based on the first {ENOUGH} values of each path"));
    }
    guesses
}

/// Points about namespaces, which a layout cannot declare.
fn about_namespaces(text: &str, columns: &[Column]) -> Vec<String> {
    let mut open = Vec::new();
    let prefixes: BTreeSet<&str> =
        columns.iter().filter_map(|column| xml::prefix(&column.heading)).collect();
    if !prefixes.is_empty() {
        let prefixes: Vec<String> = prefixes.iter().map(|prefix| format!("{prefix:?}")).collect();
        open.push(format!(
            "the paths have prefixes ({}), and a layout does not declare their namespaces: other files must have the same prefixes to be read, and \
             writing needs a layout whose paths have none",
            prefixes.join(", ")
        ));
    }
    if text.contains(" xmlns") {
        let message = "the file declares namespaces (xmlns), which are ignored on reading, and which a file written by the layout does \
                       not declare";
        open.push(message.to_owned());
    }
    open
}

/// Columns of text next to elements, which layouts cannot read; they are reported.
fn without_texts(
    tree: &Tree,
    row: usize,
    columns: Vec<Column>,
    choices: Vec<Option<Choice>>,
    open: &mut Vec<String>,
) -> (Vec<Column>, Vec<Option<Choice>>) {
    let spine = tree.spine(row);
    let mut kept = Vec::new();
    for ((column, choice), leaf) in columns.into_iter().zip(choices).zip(&tree.leaves) {
        if leaf.attribute.is_some() || leaf.element == row || !spine.contains(&leaf.element) {
            kept.push((column, choice));
            continue;
        }
        let (value, line) = leaf.values.first().cloned().unwrap_or_default();
        open.push(format!(
            "line {line}: {value:?} is text next to elements in <{}>, which layouts cannot read; put it into its own element",
            tree.elements[leaf.element].name
        ));
    }
    kept.into_iter().unzip()
}

/// The roles of the elements around a row and of the row: the innermost one with values is the run,
/// and the one around it is the pipe.
fn levels(tree: &Tree, row: usize) -> Vec<(usize, Level)> {
    let spine = tree.spine(row);
    let mut holders: Vec<usize> = Vec::new();
    for leaf in &tree.leaves {
        let (holder, between) = tree.holder(leaf, &spine);
        if holder != row && !tree.repeats(&between) && !holders.contains(&holder) {
            holders.push(holder);
        }
    }
    holders.sort_by_key(|holder| std::cmp::Reverse(tree.elements[*holder].depth));
    let own = if holders.is_empty() { Level::Any } else { Level::Row };
    let outer = [Level::Run, Level::Pipe].into_iter().chain(std::iter::repeat(Level::Document));
    let mut levels: Vec<(usize, Level)> = holders.into_iter().zip(outer).collect();
    // A root is a pipe only if it has such a name: most contain what belongs to all pipes.
    for (holder, level) in levels.iter_mut().filter(|(_, level)| *level == Level::Pipe) {
        let element = &tree.elements[*holder];
        if element.parent.is_none()
            && !is_called(&vocabulary::words(&element.name), Target::PIPE_ID)
        {
            *level = Level::Document;
        }
    }
    levels.push((row, own));
    levels
}

/// Whether words are a name for a field.
fn is_called(words: &[String], target: Target) -> bool {
    vocabulary::meaning_of(target).is_some_and(|meaning| vocabulary::named(words, meaning) >= 0.9)
}

/// Sets the levels of the columns if an element is the row.
fn place(tree: &Tree, row: usize, columns: &mut [Column]) {
    let (spine, levels) = (tree.spine(row), levels(tree, row));
    for (column, leaf) in columns.iter_mut().zip(&tree.leaves) {
        let (holder, between) = tree.holder(leaf, &spine);
        let level = levels.iter().find(|(own, _)| *own == holder).map(|(_, level)| *level);
        // Repeated values in a row are several values of it; repeated values next to the rows
        // belong to none of them.
        column.level =
            level.filter(|_| holder == row || !tree.repeats(&between)).unwrap_or(Level::Beside);
        let has_several = between.iter().any(|element| tree.elements[*element].most > 1);
        let is_free =
            |separator: &&str| !leaf.values.iter().any(|(value, _)| value.contains(*separator));
        column.several =
            has_several.then(|| ["; ", "|", " / "].into_iter().find(is_free).unwrap_or("\u{b6}"));
        column.words = words(tree, leaf, holder, &between, column.level);
    }
}

/// The words for a leaf: its path within the element that it belongs to, its last part alone, and,
/// if those have no meaning, the name of that element.
fn words(
    tree: &Tree,
    leaf: &Leaf,
    holder: usize,
    between: &[usize],
    level: Level,
) -> Vec<Vec<String>> {
    // A prefix names a namespace, not a meaning.
    let plain = |name: &str| vocabulary::words(name.rsplit(':').next().unwrap_or(name));
    let own = between.iter().map(|element| tree.elements[*element].name.as_str());
    let parts: Vec<Vec<String>> = own.chain(leaf.attribute.as_deref()).map(plain).collect();
    let whole = parts.concat();
    if vocabulary::is_bare(&whole) {
        let of_holder = plain(&tree.elements[holder].name);
        // The name counts more than the level.
        let is_said =
            is_called(&of_holder, Target::PIPE_ID) || is_called(&of_holder, Target::RUN_ID);
        let kind = match level {
            Level::Pipe if !is_said => Some("pipe"),
            Level::Run if !is_said => Some("run"),
            _ => None,
        };
        let of_place = kind.map(|kind| vec![kind.to_owned()]);
        return std::iter::once([of_holder, whole].concat()).chain(of_place).collect();
    }
    let last = parts.last().cloned().unwrap_or_default();
    if parts.len() > 1 { vec![whole, last] } else { vec![whole] }
}

/// The element of a row: of the repeated elements the one whose values are recognised best as those
/// of an observation, the deeper of two equal ones; and the choices for its columns.
fn best_row(tree: &Tree, columns: &mut [Column]) -> Option<(usize, Vec<Option<Choice>>)> {
    let repeats = |row: &usize| tree.elements[*row].most > 1 && tree.elements[*row].is_record();
    let mut rows: Vec<usize> = (0..tree.elements.len()).filter(repeats).collect();
    rows.sort_by_key(|row| {
        std::cmp::Reverse((tree.elements[*row].depth, tree.elements[*row].count))
    });
    rows.truncate(TRIED);
    let mut best: Option<(f64, usize)> = None;
    for row in rows {
        place(tree, row, columns);
        let sense = sense(tree, row, columns);
        if best.is_none_or(|(most, _)| sense > most) {
            best = Some((sense, row));
        }
    }
    let (_, row) = best?;
    place(tree, row, columns);
    Some((row, choose(columns)))
}

/// How well the values of an element are recognised as those of an observation.
fn sense(tree: &Tree, row: usize, columns: &[Column]) -> f64 {
    let spine = tree.spine(row);
    // Values of repeated records in it belong to other rows.
    let is_own = |leaf: &Leaf| {
        let (holder, between) = tree.holder(leaf, &spine);
        holder == row && !tree.repeats(&between)
    };
    let choices = choose(columns);
    let of_rows = columns.iter().zip(&choices).zip(&tree.leaves);
    let of_rows =
        of_rows.filter(|((column, _), _)| matches!(column.level, Level::Row | Level::Any));
    let of_row = |((_, choice), leaf): ((&Column, &Option<Choice>), &Leaf)| {
        let choice = choice.as_ref().filter(|choice| is_seen(choice.role()) && is_own(leaf))?;
        Some(choice.confidence)
    };
    of_rows.filter_map(of_row).sum()
}

/// Whether a role is part of an observation.
fn is_seen(role: Role) -> bool {
    role != Role::Stretch && role.record() == Record::Observation
}
