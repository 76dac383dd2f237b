//! Rows that do not identify their pipe and run: if an office fills these in only in the first row
//! of a run, or merges cells over several rows, a draft reads almost nothing, which must be
//! reported first.

use obvert_model::layout::{Layout, Target};

use super::super::analysis::{Analysis, FileKind, Merged};
use crate::grid::GridRow;
use crate::needs;
use crate::plan::{ColumnBinding, Plan};
use crate::read::row::Row;

/// The rows that do not identify their pipe and run.
#[derive(Default)]
struct Gaps<'l> {
    lines: Vec<usize>,
    /// The headings of the required columns that are blank in one of them.
    columns: Vec<&'l str>,
    /// Whether a blank cell is one of several that are merged.
    is_merged: bool,
}

/// The number of rows that do not identify their pipe and run because of blank cells, and all
/// columns that are needed for that. Reported one by one, each would be found only after the
/// previous one has been filled in.
pub(super) fn report(analysis: &Analysis<'_>, layout: &Layout) -> Option<String> {
    // In XML, the values around a row belong to the row.
    let FileKind::Table { .. } = analysis.form else { return None };
    let plan = Plan::resolved(layout, &[])?;
    let gaps = find(analysis, &plan);
    let first = gaps.lines.first()?;
    let (count, all) = (gaps.lines.len(), analysis.rows.len());
    let rows = match count {
        1 => format!("1 of {all} rows, in line {first}, has"),
        _ => format!("{count} of {all} rows, the first of them in line {first}, have"),
    };
    let they = if count == 1 { "it" } else { "they" };
    let how = if gaps.is_merged {
        "cells of the sheet are merged over several rows, and only the first of these rows holds the value; unmerge the cells, and fill in \
         those columns"
    } else {
        "a blank cell does not repeat the value above it; fill in those columns"
    };
    Some(format!(
        "{rows} no value in {}, so {they} cannot be assigned to a pipe and a run: {how} in every row",
        needs::quoted(&gaps.columns)
    ))
}

fn find<'l>(analysis: &Analysis<'_>, plan: &Plan<'l>) -> Gaps<'l> {
    let wide = analysis.cells.iter().max().map_or(0, |last| last + 1);
    let mut columns: Vec<Option<ColumnBinding<'_>>> = vec![None; wide];
    for (cell, column) in analysis.cells.iter().zip(&plan.columns) {
        columns[*cell] = Some(*column);
    }
    let names =
        [Target::PIPE_ID, Target::RUN_ID].map(|target| needs::columns_of(plan, target)).concat();
    let headings = plan.headings().into_iter().zip(analysis.cells.iter().copied());
    let needed: Vec<(&str, usize)> =
        headings.filter(|(heading, _)| names.contains(heading)).collect();
    let mut gaps = Gaps::default();
    for grid_row in analysis.rows {
        let blank = || needed.iter().filter(|(_, cell)| is_blank(grid_row, *cell));
        // An unexpected value in a cell is reported separately.
        if blank().next().is_none() || is_named(grid_row, &columns, plan) {
            continue;
        }
        gaps.lines.push(grid_row.line);
        for (heading, cell) in blank() {
            gaps.columns.push(heading);
            let holds =
                |one: &Merged| one.rows.contains(&grid_row.line) && one.columns.contains(cell);
            gaps.is_merged |= analysis.merged.iter().any(holds);
        }
    }
    gaps.columns = needed
        .into_iter()
        .map(|(heading, _)| heading)
        .filter(|own| gaps.columns.contains(own))
        .collect();
    gaps
}

fn is_blank(row: &GridRow, cell: usize) -> bool {
    row.cells.get(cell).is_none_or(|cell| cell.text.trim().is_empty())
}

/// Whether a row identifies its pipe and run.
fn is_named(grid_row: &GridRow, columns: &[Option<ColumnBinding<'_>>], plan: &Plan<'_>) -> bool {
    let (mut row, _) = Row::read(grid_row, columns, |_| true, plan);
    row.complete(plan);
    row.get(Target::PIPE_ID).is_some() && row.get(Target::RUN_ID).is_some()
}
