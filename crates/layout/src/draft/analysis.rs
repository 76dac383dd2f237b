//! A file as far as it is understood: its columns, and what was chosen for each.

use std::ops::RangeInclusive;

use obvert_model::layout::Target;
use obvert_model::tables::QuantityUnit;

use super::choice::{Choice, Column};
use super::statistics::{ColumnStatistics, Marks};
use super::vocabulary::{self, Role};
use crate::encoding::Charset;
use crate::grid::GridRow;

/// How a file is written.
pub(super) enum FileForm {
    /// A table.
    Table {
        /// The encoding; none for a workbook.
        charset: Option<Charset>,
        delimiter: char,
        /// The row that headings begin in, from 0, and how many they take.
        first: usize,
        deep: usize,
    },
    /// XML: the path of the element that is a row.
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

/// A file as far as it is understood.
pub(super) struct Analysis<'t> {
    pub(super) columns: &'t [Column],
    pub(super) choices: &'t [Option<Choice>],
    /// The cell of a row that is of each column.
    pub(super) cells: &'t [usize],
    pub(super) rows: &'t [&'t GridRow],
    pub(super) form: FileForm,
    pub(super) marks: Marks,
    /// The mark of its numbers, where none of them tells whether it is before decimals or between
    /// thousands.
    pub(super) unsettled: Option<char>,
    /// Whether months come before days.
    pub(super) american: bool,
    /// The cells that are merged over several rows, where it is in a workbook.
    pub(super) merged: &'t [Merged],
}

impl<'t> Analysis<'t> {
    pub(super) fn choice(&self, column: usize) -> Option<&'t Choice> {
        self.choices.get(column)?.as_ref()
    }

    /// The column that was taken for a role.
    pub(super) fn column_with(&self, role: Role) -> Option<usize> {
        self.choices
            .iter()
            .position(|choice| choice.as_ref().is_some_and(|choice| choice.role() == role))
    }

    /// The column that was taken for a field.
    pub(super) fn column_of(&self, target: Target) -> Option<usize> {
        self.column_with(Role::Field(target))
    }

    pub(super) fn has(&self, target: Target) -> bool {
        self.column_of(target).is_some()
    }

    /// The statistics of a column that were taken.
    pub(super) fn statistics(&self, column: usize) -> &'t ColumnStatistics {
        let own = &self.columns[column];
        self.choice(column).map_or(&own.statistics, |choice| choice.statistics(own))
    }

    /// The statistics of the column that was taken for a field.
    pub(super) fn statistics_of(&self, target: Target) -> Option<&'t ColumnStatistics> {
        self.column_of(target).map(|column| self.statistics(column))
    }

    /// The unit that the heading of a column names.
    pub(super) fn named_unit(&self, column: usize) -> Option<QuantityUnit> {
        self.columns[column].words.first().and_then(|words| vocabulary::unit_in(words))
    }

    /// The text of a column in a row.
    pub(super) fn text<'r>(&self, row: &'r GridRow, column: usize) -> &'r str {
        row.cells.get(self.cells[column]).map_or("", |cell| cell.text.trim())
    }
}
