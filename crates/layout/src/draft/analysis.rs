//! The analysis of a file: its columns, and the choice for each.

use std::ops::RangeInclusive;

use obvert_model::layout::{LineEnd, Target};
use obvert_model::tables::QuantityUnit;

use super::choice::{Choice, Column};
use super::statistics::{ColumnStatistics, Marks};
use super::vocabulary::{self, Role};
use crate::encoding::Charset;
use crate::grid::GridRow;

/// The kind of a file.
pub(super) enum FileKind {
    /// A table.
    Table {
        /// The encoding; `None` for a workbook.
        charset: Option<Charset>,
        delimiter: char,
        /// How its lines end, if not with CR and LF.
        line_end: Option<LineEnd>,
        /// The first row of headings, from 0, and the number of rows of headings.
        first: usize,
        deep: usize,
    },
    /// XML: the path of the element of a row.
    Xml { rows: String },
}

/// Cells of a sheet that are merged over several rows.
#[derive(Clone, Debug)]
pub(super) struct Merged {
    /// The rows, from 1.
    pub(super) rows: RangeInclusive<usize>,
    /// The columns, from 0.
    pub(super) columns: RangeInclusive<usize>,
}

/// The analysis of a file.
pub(super) struct Analysis<'t> {
    pub(super) columns: &'t [Column],
    pub(super) choices: &'t [Option<Choice>],
    /// For each column, the index of its cell in a row.
    pub(super) cells: &'t [usize],
    pub(super) rows: &'t [&'t GridRow],
    pub(super) form: FileKind,
    pub(super) marks: Marks,
    /// The separator in its numbers, if no number shows whether it is a decimal or a thousands
    /// separator.
    pub(super) unsettled: Option<char>,
    /// Whether months come before days.
    pub(super) american: bool,
    /// The cells that are merged over several rows, in a workbook.
    pub(super) merged: &'t [Merged],
}

impl<'t> Analysis<'t> {
    pub(super) fn choice(&self, column: usize) -> Option<&'t Choice> {
        self.choices.get(column)?.as_ref()
    }

    /// The column that was chosen for a role.
    pub(super) fn column_with(&self, role: Role) -> Option<usize> {
        self.choices
            .iter()
            .position(|choice| choice.as_ref().is_some_and(|choice| choice.role() == role))
    }

    /// The column that was chosen for a field.
    pub(super) fn column_of(&self, target: Target) -> Option<usize> {
        self.column_with(Role::Field(target))
    }

    pub(super) fn has(&self, target: Target) -> bool {
        self.column_of(target).is_some()
    }

    /// The statistics of a column on which its choice is based.
    pub(super) fn statistics(&self, column: usize) -> &'t ColumnStatistics {
        let own = &self.columns[column];
        self.choice(column).map_or(&own.statistics, |choice| choice.statistics(own))
    }

    /// The statistics of the column that was chosen for a field.
    pub(super) fn statistics_of(&self, target: Target) -> Option<&'t ColumnStatistics> {
        self.column_of(target).map(|column| self.statistics(column))
    }

    /// The unit in the heading of a column.
    pub(super) fn named_unit(&self, column: usize) -> Option<QuantityUnit> {
        self.columns[column].words.first().and_then(|words| vocabulary::unit_in(words))
    }

    /// The text of a column in a row.
    pub(super) fn text<'r>(&self, row: &'r GridRow, column: usize) -> &'r str {
        row.cells.get(self.cells[column]).map_or("", |cell| cell.text.trim())
    }
}
