//! The headings of a file, compared with the columns of its layout.

use obvert_model::edit::token;
use obvert_model::layout::{Column, FileColumn, Layout};
use obvert_model::read::ProblemKind;
use obvert_model::text::nearest;

use super::journal::{Journal, one_line};
use crate::draft;
use crate::grid::{Grid, GridRow, Origin};
use crate::plan::{ColumnBinding, Plan};

/// The columns of a file, each bound to the column of the layout with its heading.
pub(crate) struct Bindings<'l> {
    pub(crate) columns: Vec<Option<ColumnBinding<'l>>>,
    /// Which observation of a row each column belongs to; `None` for those of the whole row.
    nth: Vec<Option<usize>>,
    /// How many observations a row can have, if it can have several.
    groups: Option<usize>,
    /// Whether the table is a sheet of a workbook, which may have cells beyond the last heading.
    in_sheet: bool,
}

/// A part of a row: the cells of the whole row, and those of one of its observations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Part {
    nth: Option<usize>,
    /// Whether it is the first part of the row.
    pub(crate) is_first: bool,
}

impl Part {
    /// A row without observations of its own.
    pub(crate) const WHOLE: Self = Self { nth: None, is_first: true };
}

impl<'l> Bindings<'l> {
    /// Binds the columns of a grid, and reports unknown, duplicate and missing headings.
    pub(crate) fn of(grid: &Grid, plan: &Plan<'l>, journal: &mut Journal<'_>) -> Self {
        let mut meant: Vec<&str> = Vec::new();
        let (mut columns, mut nth) = (Vec::new(), Vec::new());
        for (index, heading) in grid.headings.iter().enumerate() {
            let before = grid.headings[..index].iter().filter(|other| *other == heading).count();
            let found = plan.file_column(heading, before);
            if plan.column(heading).is_none() {
                meant.extend(report_unknown(index, grid, plan, journal));
            } else if found.is_none() {
                let message = format!("the heading {heading:?} is duplicated; rename one");
                journal.problem(ProblemKind::DuplicateKey, origin(index, grid), "", message);
            }
            let found = found.or_else(|| plan.file_column(heading, 0));
            columns.push(found.and_then(|found| plan.columns.get(found.index).copied()));
            nth.push(found.and_then(|found| found.nth));
        }
        // In XML a missing path is a value that is absent everywhere.
        if !plan.is_xml() {
            report_missing(&meant, &nth, grid, plan, journal);
        }
        let groups = Some(plan.layout.observations_of_row()).filter(|count| *count > 1);
        Self { columns, nth, groups, in_sheet: grid.sheet.is_some() }
    }

    /// The parts of a row, each with one observation or none.
    pub(crate) fn parts(&self, row: &GridRow) -> Vec<Part> {
        let is_filled = |nth: usize| {
            let mut cells = row.cells.iter().zip(&self.nth);
            cells.any(|(cell, own)| *own == Some(nth) && !cell.text.trim().is_empty())
        };
        let groups = (0..self.groups.unwrap_or_default()).filter(|nth| is_filled(*nth));
        let mut parts: Vec<Part> =
            groups.map(|nth| Part { nth: Some(nth), is_first: false }).collect();
        match parts.first_mut() {
            Some(first) => first.is_first = true,
            None => parts.push(Part::WHOLE),
        }
        parts
    }

    /// Whether a cell belongs to a part of its row: to its observation, or to the whole row.
    pub(crate) fn is_in(&self, index: usize, part: Part) -> bool {
        self.nth.get(index).copied().flatten().is_none_or(|nth| part.nth == Some(nth))
    }

    /// Whether a cell is reported with a part of its row. Those of the whole row are reported once.
    pub(crate) fn is_reported_in(&self, index: usize, part: Part) -> bool {
        match self.nth.get(index).copied().flatten() {
            Some(nth) => part.nth == Some(nth),
            None => part.is_first,
        }
    }

    /// The column of the first cell of a part of a row, from 1; 0 if the part is the whole row.
    pub(crate) fn start(&self, part: Part) -> usize {
        let own = |nth: &Option<usize>| nth.is_some() && *nth == part.nth;
        self.nth.iter().position(own).map_or(0, |index| index + 1)
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
///
/// A table can have fewer observations in a row than the layout, then it has none of their columns.
fn report_missing(
    meant: &[&str],
    found: &[Option<usize>],
    grid: &Grid,
    plan: &Plan<'_>,
    journal: &mut Journal<'_>,
) {
    let layout = plan.layout;
    let is_known = |heading: &str| plan.column(heading).is_some();
    let is_there = |column: &FileColumn<'_>| {
        let before = plan.file_columns.iter().take_while(|other| *other != column);
        let before = before.filter(|other| other.heading == column.heading).count();
        grid.headings.iter().filter(|other| *other == column.heading).count() > before
    };
    let is_needed = |column: &FileColumn<'_>| {
        column.nth.is_none_or(|nth| nth == 0 || found.contains(&Some(nth)))
    };
    for column in plan.file_columns.iter().filter(|column| is_needed(column) && !is_there(column)) {
        let heading = column.heading;
        if meant.contains(&heading) {
            continue;
        }
        let others = grid.headings.iter().map(String::as_str).filter(|other| !is_known(other));
        let target = layout.columns.get(column.index).and_then(Column::target);
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
