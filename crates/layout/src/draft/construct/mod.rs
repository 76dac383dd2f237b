//! Constructs the layout from the choices: its columns, each with its reason, and the values that
//! are in no column.

mod codes;
mod column;
mod defaults;
mod doubts;
mod gaps;
mod kind;
mod units;

use std::collections::HashMap;

use obvert_convert::ConvertError;
use obvert_model::layout::{Layout, TableForm, Target, XmlForm};
use obvert_model::text::Text;

use self::codes::Coding;
use self::column::Proposal;
use self::units::Units;
use super::Draft;
use super::analysis::{Analysis, FileKind};
use super::choice::moments::{self, Part};
use super::vocabulary::Role;
use crate::encoding::Charset;

/// An analysis, and the decisions about all its columns.
#[derive(Clone, Copy)]
struct Context<'c> {
    analysis: &'c Analysis<'c>,
    units: &'c Units,
    /// Whether words of the file are translated to codes.
    has_code_words: bool,
    /// Whether the file has the start of runs.
    has_start: bool,
}

/// Drafts a layout from the choices.
///
/// # Errors
/// When the file has texts that a layout cannot hold.
pub(super) fn draft(
    analysis: &Analysis<'_>,
    mut guesses: Vec<String>,
    mut open: Vec<String>,
) -> Result<Draft, ConvertError> {
    let units = Units::of(analysis);
    for (target, guess) in units.each() {
        guesses.push(format!("{} for {target}: {}", guess.unit, guess.why()));
    }
    let Coding { words: codes, list } = Coding::of(analysis, &mut open)?;
    let has_start = has_start(analysis, &mut open);
    let context = Context { analysis, units: &units, has_code_words: codes.is_some(), has_start };
    let mut layout = Layout::new(text("draft")?, text("0")?, text("Draft")?);
    layout.description =
        Some(text("Proposed from a table; check the basis of each column, then remove it.")?);
    let (mut columns, mut places) = (Vec::new(), HashMap::new());
    for index in 0..analysis.columns.len() {
        let Proposal { column, drafted } = column::propose(context, index, &mut places, &mut open)?;
        layout.columns.push(column);
        columns.push(drafted);
    }
    set_form(&mut layout, analysis)?;
    layout.codes = codes;
    defaults::add(&mut layout, context, list, &mut open)?;
    open.extend(rounding(&layout));
    // Points that keep whole rows from being read come before those about single columns.
    if let Some(gaps) = gaps::report(analysis, &layout) {
        open.insert(0, gaps);
    }
    open.extend(
        layout.problems().iter().map(|problem| format!("the draft cannot be used yet: {problem}")),
    );
    Ok(Draft { layout, columns, guesses, open })
}

/// A text of a layout.
///
/// # Errors
/// When a layout cannot hold it.
fn text(text: &str) -> Result<Text, ConvertError> {
    Text::new(text).map_err(|error| ConvertError::Refused {
        message: format!("the table has texts that a layout cannot hold: {error}"),
    })
}

/// A separator as a text.
fn mark(mark: char) -> Result<Text, ConvertError> {
    text(mark.encode_utf8(&mut [0; 4]))
}

/// Whether the file has the start of runs, and a message if it has only a part of it.
fn has_start(analysis: &Analysis<'_>, open: &mut Vec<String>) -> bool {
    let is_start = |column: &usize| {
        analysis.choice(*column).is_some_and(|choice| choice.role() == Role::Field(Target::STARTED))
    };
    let columns = (0..analysis.columns.len()).filter(is_start);
    let parts: Vec<Part> =
        columns.filter_map(|column| moments::part(analysis.statistics(column))).collect();
    let missing = match parts.as_slice() {
        [] => return false,
        [Part::Date] => {
            "there are dates without times of day, and the start of runs needs both, so it is left out"
        }
        [Part::Time] => {
            "there are times of day without dates, and the start of runs needs both, so it is left out"
        }
        _ => return true,
    };
    open.push(missing.to_owned());
    false
}

/// Sets how the file is written.
fn set_form(layout: &mut Layout, analysis: &Analysis<'_>) -> Result<(), ConvertError> {
    let (decimal, thousands) = (analysis.marks.decimal, analysis.marks.thousands);
    let thousands_mark = thousands.map(mark).transpose()?;
    let count = |number: usize| u32::try_from(number).ok();
    match &analysis.form {
        FileKind::Table { charset, delimiter, line_end, first, deep } => {
            let mut table = TableForm::new(mark(*delimiter)?);
            table.encoding = charset.and_then(Charset::label);
            table.line_end = *line_end;
            table.heading_row = if *first > 0 { count(first + 1) } else { None };
            table.heading_rows = if *deep > 1 { count(*deep) } else { None };
            table.decimal_mark = Some(mark(decimal)?);
            table.thousands_mark = thousands_mark;
            layout.table = Some(table);
        }
        FileKind::Xml { rows } => {
            let mut xml = XmlForm::new(text(rows)?);
            xml.decimal_mark = if decimal == '.' { None } else { Some(mark(decimal)?) };
            xml.thousands_mark = thousands_mark;
            layout.xml = Some(xml);
        }
    }
    Ok(())
}

/// Reports what the layout rounds when it writes; another survey may have more decimals than the
/// table of the draft.
fn rounding(layout: &Layout) -> Option<String> {
    let columns = layout.columns.iter().filter_map(|column| Some((column, column.decimals?)));
    let all: Vec<String> = columns
        .map(|(column, decimals)| format!("{:?} to {decimals}", column.heading.replace('\n', " ")))
        .collect();
    let start =
        "values are written with as many decimals as in this table, and rounded if they have more";
    let end = "increase decimals of a column, or remove decimals of a column of numbers to avoid rounding";
    (!all.is_empty()).then(|| format!("{start}: {}; {end}", all.join(", ")))
}
