//! Where a pipe is lined: by the rows that record where a lining begins and ends, or else by the
//! pipe's record.

use crate::support::nearby;
use crate::views::{RowView, RunView};

/// How far from its recorded end a lining may still be seen, in metres; common practice, no source.
const MARGIN: f64 = 1.0;

/// The lining of a pipe, as a run shows it.
pub(crate) struct Lining {
    /// The rows that record where a lining begins or ends, and whether it begins.
    ends: Vec<(usize, bool)>,
    /// Whether the pipe is lined by its record.
    recorded: bool,
}

impl Lining {
    /// The lining of a run's pipe.
    pub(crate) fn of(run: &RunView<'_>) -> Self {
        let end = |row: RowView<'_>| match row.term()?.code {
            "lining.start" => Some((row.index, true)),
            "lining.finish" => Some((row.index, false)),
            _ => None,
        };
        Self {
            ends: run.rows().filter_map(end).collect(),
            recorded: run.pipe.is_some_and(|view| view.pipe.lining.is_some()),
        }
    }

    /// Whether the pipe is lined at a row. At the end of a lining both answers are right, and it is
    /// `at_end`.
    fn at(&self, row: &RowView<'_>, at_end: bool) -> bool {
        let next = self.ends.partition_point(|(index, _)| *index <= row.index);
        let (before, after) =
            (next.checked_sub(1).map(|last| self.ends[last]), self.ends.get(next));
        let near = |index: usize| nearby::apart(&row.run.row(index), row) <= MARGIN;
        if before.iter().chain(after).any(|(index, _)| near(*index)) {
            return at_end;
        }
        match (before, after) {
            (Some((_, begins)), _) => begins,
            (None, Some((_, begins))) => !*begins,
            (None, None) => self.recorded,
        }
    }

    /// Whether the pipe is certainly lined at a row.
    pub(crate) fn covers(&self, row: &RowView<'_>) -> bool {
        self.at(row, false)
    }

    /// Whether the pipe may be lined at a row.
    pub(crate) fn may_cover(&self, row: &RowView<'_>) -> bool {
        self.at(row, true)
    }
}
