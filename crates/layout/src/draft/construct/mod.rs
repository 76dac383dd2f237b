//! The layout of what was chosen: its columns, each with what it rests on, and what is in no
//! column.

mod codes;
mod column;
mod doubts;
mod gaps;
mod kind;
mod units;
mod whole;

use std::collections::HashMap;

use obvert_convert::ConvertError;
use obvert_model::layout::{Layout, TableForm, Target, XmlForm};
use obvert_model::text::Text;

use self::codes::Coding;
use self::column::Proposal;
use self::units::Units;
use super::Draft;
use super::analysis::{Analysis, FileForm};
use super::choice::moments::{self, Part};
use super::vocabulary::Role;
use crate::encoding::Charset;

/// An analysis, and what was settled for all of its columns.
#[derive(Clone, Copy)]
struct Context<'c> {
    analysis: &'c Analysis<'c>,
    units: &'c Units,
    /// Whether words of the file stand for codes.
    has_code_words: bool,
    /// Whether the file says when a run began.
    has_start: bool,
}

/// Drafts a layout of what was chosen.
///
/// # Errors
/// When the file has texts that no layout can hold.
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
        Some(text("Proposed from a table; look at each column's basis, then take the bases out.")?);
    let (mut columns, mut places) = (Vec::new(), HashMap::new());
    for index in 0..analysis.columns.len() {
        let Proposal { column, drafted } = column::propose(context, index, &mut places, &mut open)?;
        layout.columns.push(column);
        columns.push(drafted);
    }
    set_form(&mut layout, analysis)?;
    layout.codes = codes;
    whole::add(&mut layout, context, list, &mut open)?;
    open.extend(rounding(&layout));
    // What keeps whole rows from being read comes before what is open about single columns.
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
/// When no layout can hold it.
fn text(text: &str) -> Result<Text, ConvertError> {
    Text::new(text).map_err(|error| ConvertError::Refused {
        message: format!("the table has texts that no layout can hold: {error}"),
    })
}

/// A mark as a text.
fn mark(mark: char) -> Result<Text, ConvertError> {
    text(mark.encode_utf8(&mut [0; 4]))
}

/// Whether the file says when a run began, and what is missing where it does not.
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
            "there are dates without times of day, so the start of runs is left out, which needs both"
        }
        [Part::Time] => {
            "there are times of day without dates, so the start of runs is left out, which needs both"
        }
        _ => return true,
    };
    open.push(missing.to_owned());
    false
}

/// Says how the file is written.
fn set_form(layout: &mut Layout, analysis: &Analysis<'_>) -> Result<(), ConvertError> {
    let (decimal, thousands) = (analysis.marks.decimal, analysis.marks.thousands);
    let thousands_mark = thousands.map(mark).transpose()?;
    let count = |number: usize| u32::try_from(number).ok();
    match &analysis.form {
        FileForm::Table { charset, delimiter, first, deep } => {
            let mut table = TableForm::new(mark(*delimiter)?);
            table.encoding = charset.and_then(Charset::label);
            table.heading_row = if *first > 0 { count(first + 1) } else { None };
            table.heading_rows = if *deep > 1 { count(*deep) } else { None };
            table.decimal_mark = Some(mark(decimal)?);
            table.thousands_mark = thousands_mark;
            layout.table = Some(table);
        }
        FileForm::Xml { rows } => {
            let mut xml = XmlForm::new(text(rows)?);
            xml.decimal_mark = if decimal == '.' { None } else { Some(mark(decimal)?) };
            xml.thousands_mark = thousands_mark;
            layout.xml = Some(xml);
        }
    }
    Ok(())
}

/// What a layout rounds when it writes; another survey may have more decimals than the table that
/// it was drafted from.
fn rounding(layout: &Layout) -> Option<String> {
    let columns = layout.columns.iter().filter_map(|column| Some((column, column.decimals?)));
    let all: Vec<String> = columns
        .map(|(column, decimals)| format!("{:?} to {decimals}", column.heading.replace('\n', " ")))
        .collect();
    let start = "as many decimals as the values have are written, and more of them are rounded";
    let end =
        "give a column more, or take decimals out of one of plain numbers to have none rounded";
    (!all.is_empty()).then(|| format!("{start}: {}; {end}", all.join(", ")))
}
