//! The proposal for one column: its field and its kind of cell, the confidence, and the reason.

use std::collections::HashMap;

use obvert_convert::ConvertError;
use obvert_model::layout::{CellKind, Column as LayoutColumn, Target};
use obvert_model::tables::QuantityUnit;

use super::super::Drafted;
use super::super::choice::{Choice, Column, reason};
use super::super::statistics::Sample;
use super::super::statistics::dates::{SERIAL, are_settled};
use super::super::vocabulary::{Role, Wants};
use super::{Context, doubts, kind, text};
use crate::grid::GridRow;

/// The proposal for a column: for the layout, and for the person who corrects it.
pub(super) struct Proposal {
    pub(super) column: LayoutColumn,
    pub(super) drafted: Drafted,
}

/// The role of a column in the draft.
#[derive(Clone, Copy, PartialEq)]
enum Use {
    Field(Target),
    Codes,
    Stretches,
}

impl Use {
    const fn name(self) -> &'static str {
        match self {
            Self::Field(_) => "",
            Self::Codes => "codes",
            Self::Stretches => "stretches",
        }
    }
}

/// Proposes the role of a column. `places` has the number of columns for each field so far.
pub(super) fn propose(
    context: Context<'_>,
    index: usize,
    places: &mut HashMap<Target, u32>,
    open: &mut Vec<String>,
) -> Result<Proposal, ConvertError> {
    let own = &context.analysis.columns[index];
    let choice = context.analysis.choice(index);
    let role = choice.and_then(|choice| role(context, choice, own));
    let mut column = LayoutColumn::new(text(&own.heading)?);
    if let (Some(Use::Field(target)), Some(choice)) = (role, choice) {
        column.to = Some(target.into());
        // A column of codes is text.
        if choice.role() != Role::Codes {
            kind::set(&mut column, context, index, choice, target, open)?;
            column.place = place(context, target, places);
        }
    }
    if let Some(separator) = own.several {
        column.separator = Some(text(separator)?);
    }
    let taken = choice.filter(|_| role.is_some());
    let mut reason = why(context, index, taken);
    let mut confidence = taken.map_or(0.0, |choice| choice.confidence);
    // Both are equally likely.
    if can_be_either(context, &column, index) {
        confidence *= 0.5;
    }
    let mut outliers = taken
        .and_then(|choice| choice.majority(own))
        .map(|majority| majority.outliers.clone())
        .unwrap_or_default();
    let before = outliers.len();
    outliers.retain(|(value, _)| !is_percentage(context, &column, index, value));
    if outliers.len() < before {
        reason.push_str("; cells that the sheet shows as a percentage are read as percentages");
    }
    open.extend(slips(&column, taken, own, &outliers));
    let sample = context.analysis.statistics(index).distinct.first().cloned();
    if role.is_some() {
        let shown = sample
            .as_ref()
            .map(|(value, line)| format!("; {value:?} on line {line}"))
            .unwrap_or_default();
        column.basis = Some(text(&format!("drafted, {confidence:.2}: {reason}{shown}"))?);
    } else {
        let (drop, field) = dropped(choice);
        column.drop = Some(text(drop)?);
        open.push(format!(
            "{:?}: {reason}; {field}, or set drop to the reason for leaving it out",
            own.heading
        ));
    }
    let to = role.map(|role| match role {
        Use::Field(target) => target.path().to_owned(),
        other => other.name().to_owned(),
    });
    let drafted =
        Drafted { heading: own.heading.clone(), to, confidence, reason, sample, outliers };
    Ok(Proposal { column, drafted })
}

/// The role of a column, if the choice for it can be used.
fn role(context: Context<'_>, choice: &Choice, column: &Column) -> Option<Use> {
    match choice.role() {
        Role::Field(Target::STARTED) if !context.has_start => None,
        // Without a value, the words for yes and no are not known, and the column would need them.
        _ if choice.meaning.wants == Wants::Yes && column.statistics.count == 0 => None,
        Role::Codes | Role::CodeDetail if context.has_code_words => Some(Use::Codes),
        Role::Codes => Some(Use::Field(Target::CODE)),
        Role::CodeDetail => None,
        Role::Stretch => Some(Use::Stretches),
        Role::Field(target) => Some(Use::Field(target)),
    }
}

/// The reason for the proposal for a column.
fn why(context: Context<'_>, index: usize, taken: Option<&Choice>) -> String {
    let analysis = context.analysis;
    let own = &analysis.columns[index];
    match (taken, analysis.choice(index)) {
        (Some(choice), _) => reason::of(choice, own),
        (None, Some(choice)) => {
            let why = match choice.role() {
                _ if choice.meaning.wants == Wants::Yes => "its words for yes and no are not known",
                Role::Field(Target::STARTED) => "a timestamp needs a date and a time of day",
                _ => "the codes include it",
            };
            format!("{}, but {why}", reason::of(choice, own))
        }
        (None, None) => reason::of_none(index, analysis.columns, analysis.choices),
    }
}

/// The messages for a column without a field: in the layout, and for the person who corrects it.
fn dropped(choice: Option<&Choice>) -> (&'static str, &'static str) {
    match choice.map(|choice| choice.meaning.wants) {
        Some(Wants::Yes) => (
            "its words for yes and no are not known",
            "set `to` to its field and `translate` to the meaning of those words",
        ),
        _ => ("the draft found no field for it", "set `to` to its field"),
    }
}

/// The index of a column's value in a list, if several columns are for one list.
fn place(context: Context<'_>, target: Target, places: &mut HashMap<Target, u32>) -> Option<u32> {
    if !matches!(target, Target::CHARACTERISATION | Target::AMOUNT) {
        return None;
    }
    let analysis = context.analysis;
    let leads = |column: &usize| {
        analysis.choice(*column).is_some_and(|own| own.role() == Role::Field(target))
    };
    let all: Vec<usize> = (0..analysis.columns.len()).filter(leads).collect();
    if all.len() == 1 || are_alternatives(context, &all) {
        return None;
    }
    let place = places.entry(target).or_default();
    *place += 1;
    Some(*place)
}

/// Whether columns have different units and no row has values in two of them, so that each is the
/// first amount of its row.
fn are_alternatives(context: Context<'_>, columns: &[usize]) -> bool {
    let analysis = context.analysis;
    let mut units: Vec<_> =
        columns.iter().filter_map(|column| analysis.named_unit(*column)).collect();
    units.sort_unstable();
    units.dedup();
    let filled = |row: &GridRow| {
        columns.iter().filter(|column| !analysis.text(row, **column).is_empty()).count()
    };
    units.len() == columns.len() && analysis.rows.iter().all(|row| filled(row) < 2)
}

/// Whether the values of a drafted column are numbers or dates with two possible readings.
fn can_be_either(context: Context<'_>, column: &LayoutColumn, index: usize) -> bool {
    let analysis = context.analysis;
    let own = &analysis.columns[index];
    match (column.kind, column.pattern.as_deref()) {
        (Some(CellKind::Number), _) => doubts::thousandfold(analysis, index).is_some(),
        (Some(CellKind::Date | CellKind::DateTime), Some(pattern)) if pattern != SERIAL => {
            doubts::mixed(&own.heading, pattern, &own.statistics).is_some()
                || !are_settled(pattern, &analysis.statistics(index).distinct)
        }
        _ => false,
    }
}

/// Whether a value of a column is a number that a sheet shows as a percentage, which is read as
/// shown: an amount in percent.
fn is_percentage(context: Context<'_>, column: &LayoutColumn, index: usize, value: &str) -> bool {
    let is_amount = column.target() == Some(Target::AMOUNT)
        && column.kind == Some(CellKind::Number)
        && column.unit.is_none_or(|unit| unit == QuantityUnit::Percent);
    let analysis = context.analysis;
    let cells = analysis.rows.iter().filter_map(|row| row.cells.get(analysis.cells[index]));
    let mut same = cells.filter(|cell| cell.text.trim() == value).peekable();
    is_amount && same.peek().is_some() && same.all(|cell| cell.percent().is_some())
}

/// Advice about outliers. Dates in the other order are reported separately, and are not errors.
fn slips(
    column: &LayoutColumn,
    taken: Option<&Choice>,
    own: &Column,
    outliers: &[Sample],
) -> Option<String> {
    let is_swapped = |value: &str| {
        column.pattern.as_deref().is_some_and(|pattern| doubts::is_swapped(value, pattern))
    };
    let slips: Vec<Sample> =
        outliers.iter().filter(|(value, _)| !is_swapped(value)).cloned().collect();
    let advice = match taken.map(|choice| choice.meaning.wants) {
        Some(Wants::Picture) => {
            "which is not written like the others; write it like them, or clear the cell if there is none, or it is read as other files"
        }
        _ => {
            "which is not like the others; correct it in the table, or clear the cell if nothing is known, or its row \
             cannot be read"
        }
    };
    (!slips.is_empty()).then(|| format!("{:?}: {}, {advice}", own.heading, reason::lines(&slips)))
}
