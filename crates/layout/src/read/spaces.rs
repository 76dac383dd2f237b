//! White space around the values of cells, and blank parts of cells with several values: they have
//! no meaning, and are reported, since a table that is written by the layout does not have them.

use obvert_model::layout::{CellKind, Target};

use crate::grid::{GridCell, Origin};
use crate::plan::{ColumnBinding, ColumnUse};

/// The cells whose white space is not kept.
#[derive(Default)]
pub(super) struct Spaces {
    count: usize,
    first: Origin,
}

impl Spaces {
    /// Counts a cell, if its white space is not kept.
    pub(super) fn add(&mut self, cell: &GridCell, column: &ColumnBinding<'_>, heading: usize) {
        if cell.text.is_empty() || !loses_spaces(&cell.text, column) {
            return;
        }
        if self.count == 0 {
            self.first = Origin { line: cell.line, column: cell.column, heading };
        }
        self.count += 1;
    }

    /// The number of such cells and the location of the first; `None` if there are none.
    pub(super) fn found(&self) -> Option<(usize, Origin)> {
        (self.count > 0).then_some((self.count, self.first))
    }
}

/// Whether the white space of a cell is not in its value.
fn loses_spaces(text: &str, column: &ColumnBinding<'_>) -> bool {
    if text.trim().is_empty() {
        return true;
    }
    let is_trimmed = || text.trim() != text;
    let ColumnUse::Field(target) = column.role else { return is_trimmed() };
    let separator = column.column.separator.as_deref();
    match separator.filter(|_| matches!(target, Target::MEDIA_FILE | Target::CHARACTERISATION)) {
        Some(separator) => {
            let parts: Vec<&str> = super::parts::split(text, separator).collect();
            parts.join(separator) != text || parts.contains(&"")
        }
        None => {
            let is_text = column.column.kind.unwrap_or(CellKind::Text) == CellKind::Text;
            let is_kept =
                is_text && column.column.translate.is_empty() && target != Target::AMOUNT_UNIT;
            !is_kept && is_trimmed()
        }
    }
}
