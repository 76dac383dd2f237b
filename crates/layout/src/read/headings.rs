//! The headings of a file, compared with the columns of its layout.

use obvert_model::edit::token;
use obvert_model::layout::{Column, Layout};
use obvert_model::read::ProblemKind;
use obvert_model::text::nearest;

use super::journal::{Journal, one_line};
use crate::draft;
use crate::grid::{Grid, GridRow, Origin};
use crate::plan::{ColumnBinding, Plan};

/// The columns of a file, each bound to the column of the layout with its heading.
pub(crate) struct Bindings<'l> {
    pub(crate) columns: Vec<Option<ColumnBinding<'l>>>,
    /// Whether the table is a sheet of a workbook, which may have cells beyond the last heading.
    in_sheet: bool,
}

impl<'l> Bindings<'l> {
    /// Binds the columns of a grid, and reports unknown, duplicate and missing headings.
    pub(crate) fn of(grid: &Grid, plan: &Plan<'l>, journal: &mut Journal<'_>) -> Self {
        let mut meant: Vec<&str> = Vec::new();
        let mut columns = Vec::new();
        for (index, heading) in grid.headings.iter().enumerate() {
            let column = plan.column(heading).copied();
            if column.is_none() {
                meant.extend(report_unknown(index, grid, plan, journal));
            } else if grid.headings[..index].contains(heading) {
                let message = format!("the heading {heading:?} is duplicated; rename one");
                journal.problem(ProblemKind::DuplicateKey, origin(index, grid), "", message);
            }
            columns.push(column);
        }
        // In XML a missing path is a value that is absent everywhere.
        if !plan.is_xml() {
            report_missing(&meant, grid, plan.layout, journal);
        }
        Self { columns, in_sheet: grid.sheet.is_some() }
    }

    /// Why the cells of a row are ambiguous, and the location.
    pub(crate) fn misfit(&self, row: &GridRow, layout: &Layout) -> Option<(Origin, String)> {
        if let Some(flaw) = &row.flaw {
            let origin = Origin { line: row.line, column: row.flawed, heading: row.flawed };
            return Some((origin, format!("{flaw}; the row was skipped")));
        }
        let (cells, wide) = (&row.cells, self.columns.len());
        // Spreadsheets write blank cells beyond the last column, which have no values to lose.
        let beyond =
            cells.get(wide..).unwrap_or_default().iter().find(|cell| !cell.text.trim().is_empty());
        match beyond {
            Some(cell) if self.in_sheet => {
                let message = format!(
                    "found {:?} without a heading, so the row was skipped; add a heading, or remove the cell",
                    cell.text.trim()
                );
                Some((Origin { line: cell.line, column: cell.column, heading: 0 }, message))
            }
            None if cells.len() >= wide => None,
            _ => {
                let hint = width_hint(layout, beyond.is_some());
                let message = format!(
                    "the row has {} cells and there are {wide} headings, so it was skipped{hint}",
                    cells.len()
                );
                Some((Origin::line(row.line), message))
            }
        }
    }
}

/// What to do about a row with too many or too few cells.
fn width_hint(layout: &Layout, too_many: bool) -> String {
    let Some(table) = &layout.table else { return String::new() };
    let delimiter: &str = &table.delimiter;
    if too_many {
        format!("; quote cells that contain {delimiter:?}, and give every column a heading")
    } else {
        format!(
            "; write the {delimiter:?} of each blank cell, and check for a line break in the row"
        )
    }
}

/// The location of a heading. Headings of XML are paths; the location is that of the first value.
fn origin(index: usize, grid: &Grid) -> Origin {
    if grid.heading_line > 0 {
        return Origin { line: grid.heading_line, column: index + 1, heading: index + 1 };
    }
    let mut cells = grid.rows.iter().filter_map(|row| row.cells.get(index));
    let first = cells.find(|cell| !cell.text.is_empty());
    first.map_or(Origin::default(), |cell| Origin {
        line: cell.line,
        column: cell.column,
        heading: index + 1,
    })
}

/// Reports an unknown heading, and returns the column that is probably meant.
fn report_unknown<'l>(
    index: usize,
    grid: &Grid,
    plan: &Plan<'l>,
    journal: &mut Journal<'_>,
) -> Option<&'l str> {
    let is_xml = plan.is_xml();
    // In XML every path of the layout is a heading, even if the file does not use it.
    let is_used = |index: usize| {
        let mut cells = grid.rows.iter().filter_map(|row| row.cells.get(index));
        !is_xml || cells.any(|cell| !cell.text.is_empty())
    };
    let has = |heading: &str| {
        grid.headings.iter().enumerate().any(|(index, own)| own == heading && is_used(index))
    };
    let missing = plan.headings().into_iter().filter(|known| !has(known));
    let near = nearest(&grid.headings[index], missing);
    let advice = match near {
        Some(near) => {
            let what = if is_xml { "file" } else { "table" };
            format!("did you mean {:?}, which the {what} lacks?", one_line(near))
        }
        None => "add it there, with drop if it is not needed".to_owned(),
    };
    let heading = one_line(&grid.headings[index]);
    // No value is missing because of an unknown column, so the rest can be checked.
    let pointer = if near.is_some() { String::new() } else { format!("/-/{}", token(&heading)) };
    let message = format!("the layout {} has no column {heading:?}; {advice}", plan.layout.id);
    journal.problem(ProblemKind::UnknownKey, origin(index, grid), &pointer, message);
    near
}

/// Reports missing columns. A column with a similar heading has been reported.
fn report_missing(meant: &[&str], grid: &Grid, layout: &Layout, journal: &mut Journal<'_>) {
    let is_known = |heading: &str| layout.columns.iter().any(|column| *column.heading == *heading);
    let headings = layout.columns.iter().map(|column| column.heading.as_str());
    for heading in headings
        .filter(|own| !meant.contains(own) && !grid.headings.iter().any(|other| other == own))
    {
        let others = grid.headings.iter().map(String::as_str).filter(|other| !is_known(other));
        let target = layout.columns.iter().find(|own| *own.heading == *heading);
        let target = target.and_then(Column::target);
        // Another word for the same thing need not look alike.
        let same = |other: &&str| target.is_some_and(|target| draft::is_word_for(other, target));
        let near = nearest(heading, others.clone()).or_else(|| others.clone().find(same));
        let near = near
            .map(|near| format!("; did you mean {:?}, which the layout lacks?", one_line(near)));
        let message = format!(
            "the table has no column {:?}, which the layout {} describes{}",
            one_line(heading),
            layout.id,
            near.unwrap_or_default()
        );
        journal.problem(ProblemKind::MissingKey, Origin::line(grid.heading_line), "", message);
    }
}
