//! Problems of the kinds of cells.

use super::super::{CellKind, Column, Layout, Target};
use super::Problems;
use crate::profile::Scalar;
use crate::shape::Shape;
use crate::synonyms::nearest_value;

pub(super) fn kind_problems(
    at: &str,
    column: &Column,
    kind: CellKind,
    target: Target,
    layout: &Layout,
    problems: &mut Problems,
) {
    let shape = target.shape();
    if !kind.fits(target, !column.translate.is_empty()) {
        let instead = match shape {
            _ if target == Target::CLOCK => "; use clock",
            Shape::Bool => "; use yes-no, with its words in translate",
            Shape::Number | Shape::Whole => "; use number, or another kind for numbers",
            Shape::Text if kind == CellKind::YesNo => "; use text, or a kind for dates or times",
            _ => "",
        };
        problems.add(
            format!("{at}/kind"),
            format!("{target} cannot hold cells of the kind {kind}{instead}"),
        );
    }
    if kind == CellKind::Amount && layout.units.is_empty() {
        problems.add(
            format!("{at}/kind"),
            "the cells of amounts have words for units; list them in units",
        );
    }
    unit_problems(at, column, kind, target, layout, problems);
    if kind == CellKind::YesNo && column.translate.is_empty() {
        problems.add(at, "give the words for yes and no in translate");
    }
    if let Some((key, message)) = kind.pattern_problem(column) {
        problems.add(format!("{at}{key}"), message);
    }
    if column.place == Some(0) {
        problems.add(format!("{at}/place"), "places are counted from 1");
    } else if column.place.is_some() && !target.has_places() {
        let message = format!(
            "{target} is not a list, so a row has one value of it; remove place, and give further observations rows of their own"
        );
        problems.add(format!("{at}/place"), message);
    }
    if target == Target::AMOUNT_UNIT {
        unit_column_problem(at, column, layout, problems);
    }
    for (index, translation) in column.translate.iter().enumerate() {
        let pointer = format!("{at}/translate/{index}");
        if let Some(earlier) =
            column.translate[..index].iter().position(|other| other.text == translation.text)
        {
            problems.add(
                format!("{pointer}/text"),
                format!("duplicate of {at}/translate/{earlier}; keep one"),
            );
        }
        value_problem(&format!("{pointer}/value"), shape, &translation.value, problems);
    }
}

/// Reports a unit where none is possible, and a missing one where it is needed.
fn unit_problems(
    at: &str,
    column: &Column,
    kind: CellKind,
    target: Target,
    layout: &Layout,
    problems: &mut Problems,
) {
    let pointer = format!("{at}/unit");
    match (column.unit, target.measured_in()) {
        (Some(_), _) if kind == CellKind::Amount => {
            problems.add(pointer, "the cells of an amount have their own unit; remove this one");
        }
        (Some(unit), Some(_)) if unit.dimension() != crate::tables::Dimension::Length => {
            problems.add(pointer, format!("{unit} is not a unit of length"));
        }
        (Some(_), None) if target != Target::AMOUNT => {
            problems.add(pointer, "the numbers of this field have no unit; remove it")
        }
        _ => {}
    }
    if let Some(unit) = target.measured_in()
        && (column.unit.is_some() || kind == CellKind::Amount)
        && layout.fixed_text(unit).is_none()
    {
        problems
            .add(at, format!("lengths in another unit are converted to {unit}; set it in fixed"));
    }
}

/// Reports a column of units without the one column of numbers that they belong to.
fn unit_column_problem(at: &str, column: &Column, layout: &Layout, problems: &mut Problems) {
    let place = |column: &Column| column.place.unwrap_or(1);
    let is_amount =
        |own: &&Column| own.target() == Some(Target::AMOUNT) && place(own) == place(column);
    let mut amounts = layout.columns.iter().filter(is_amount);
    let message = match (amounts.next(), amounts.next()) {
        (None, _) => format!(
            "no column has the amount of this unit; map one to {} with the same place",
            Target::AMOUNT
        ),
        (Some(_), Some(_)) => {
            "several columns have the amount of this unit; a unit column takes one".to_owned()
        }
        (Some(amount), None) if amount.unit.is_some() => format!(
            "the amounts in {:?} have a unit already; remove unit there, or drop this column",
            amount.heading
        ),
        (Some(amount), None) if amount.kind == Some(CellKind::Amount) => {
            format!("the cells of {:?} have their units already; drop this column", amount.heading)
        }
        (Some(_), None) => return,
    };
    problems.add(at, message);
}

pub(super) fn value_problem(pointer: &str, shape: &Shape, value: &Scalar, problems: &mut Problems) {
    let message = match (shape, value) {
        (Shape::Word(words), Scalar::Text(text)) if !words.iter().any(|word| **word == **text) => {
            let known: Vec<&str> = words.iter().map(String::as_str).collect();
            let near = nearest_value("", text, &known);
            let near = near.map(|near| format!("; did you mean {near:?}?")).unwrap_or_default();
            format!("{text:?} is not one of {}{near}", words.join(", "))
        }
        (Shape::Word(_) | Shape::Text, Scalar::Text(_))
        | (Shape::Number | Shape::Whole, Scalar::Number(_))
        | (Shape::Bool, Scalar::Bool(_)) => return,
        _ => format!("the field cannot hold {value}"),
    };
    problems.add(pointer, message);
}
