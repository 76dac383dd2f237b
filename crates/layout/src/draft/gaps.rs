//! Rows that do not say which pipe and run they are of: where an office writes that into the first row of a run alone, or merges cells
//! over several rows, a draft of all columns reads next to nothing, which has to be said before anybody relies on it.

use std::ops::RangeInclusive;

use obvert_model::layout::Layout;

use super::super::needs;
use super::super::row::{Row, Way};
use super::fill::{Form, Table};

/// Cells of a sheet that are merged over several rows.
#[derive(Clone, Debug)]
pub(super) struct Merged {
    /// The rows, from 1.
    pub(super) rows: RangeInclusive<usize>,
    /// The columns, from 0.
    pub(super) columns: RangeInclusive<usize>,
}

impl Table<'_> {
    /// How many rows do not say which pipe and run they are of, since cells are blank, and which columns are needed for that, all at once:
    /// told one by one, each would be found only when the one before has been filled in.
    pub(super) fn gaps(&self, layout: &Layout) -> Option<String> {
        // In XML, what is around a row is of the row.
        let Form::Table { .. } = self.form else { return None };
        let wide = self.cells.iter().max().map_or(0, |last| last + 1);
        let mut ways: Vec<Option<Way<'_>>> = vec![None; wide];
        for (cell, column) in self.cells.iter().zip(&layout.columns) {
            ways[*cell] = Some(Way::of(column, layout));
        }
        let needed: Vec<&str> = ["pipes.id", "runs.id"].iter().flat_map(|to| needs::columns_of(layout, to)).collect();
        let headings = self.columns.iter().map(|column| column.heading.as_str());
        let needed: Vec<(&str, usize)> =
            headings.zip(self.cells.iter().copied()).filter(|(heading, _)| needed.contains(heading)).collect();
        let mut blank = vec![false; needed.len()];
        let mut lines = Vec::new();
        let mut merged = false;
        for grid_row in self.rows {
            let is_blank = |cell: usize| grid_row.cells.get(cell).is_none_or(|cell| cell.text.trim().is_empty());
            // A cell that holds something strange is told of by itself.
            if !needed.iter().any(|(_, cell)| is_blank(*cell)) {
                continue;
            }
            let (mut row, _) = Row::read(grid_row, &ways, layout);
            row.complete(layout);
            if row.text("pipes.id").is_some() && row.text("runs.id").is_some() {
                continue;
            }
            lines.push(grid_row.line);
            for ((_, cell), blank) in needed.iter().zip(&mut blank).filter(|((_, cell), _)| is_blank(*cell)) {
                *blank = true;
                let holds = |one: &Merged| one.rows.contains(&grid_row.line) && one.columns.contains(cell);
                merged |= self.merged.iter().any(holds);
            }
        }
        let first = lines.first()?;
        let columns: Vec<&str> =
            needed.iter().zip(&blank).filter(|(_, blank)| **blank).map(|((heading, _), _)| *heading).collect();
        let (count, all) = (lines.len(), self.rows.len());
        let rows = match (count, all) {
            (1, _) => format!("1 of {all} rows, in line {first}, has"),
            _ => format!("{count} of {all} rows, the first of them in line {first}, have"),
        };
        let (of, them) = if count == 1 { ("it is of", "it cannot") } else { ("they are of", "none of them can") };
        let how = if merged {
            "cells of the sheet are merged over several rows, and only the first of these holds what is shown; take the cells apart, and \
             fill in those columns"
        } else {
            "a blank cell is not taken for what stands above it; fill in those columns"
        };
        Some(format!(
            "{rows} nothing under {}, so that nothing tells which pipe and run {of}, and {them} be read: {how} in every row",
            needs::quoted(&columns)
        ))
    }
}
