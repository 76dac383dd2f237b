//! What the rows of a run record of the course of its pipe: a pipe that bends is longer than the
//! straight line on the map, and one that falls unevenly is not on the line between its inverts.

use obvert_model::lists::Role;
use obvert_model::tables::Pipe;

use crate::support::terms::means;
use crate::views::{Ending, PipeView, RunView};

/// What the rows of one run, or of all runs of a pipe, record.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct CourseMarks {
    /// A bend to any side.
    pub(crate) bends: bool,
    /// A change of the gradient, or a drop.
    pub(crate) levels: bool,
}

impl CourseMarks {
    pub(crate) fn of(run: &RunView<'_>) -> Self {
        let mut marks = Self::default();
        for code in run.rows().filter_map(|row| row.code) {
            marks.bends |= code.role == Some(Role::Bend);
            marks.levels |= means(code, &["gradient", "fitting.drop"]);
        }
        marks
    }

    /// What all runs of a pipe record.
    pub(crate) fn of_pipe(ending: &Ending<'_>, pipe: &Pipe) -> Self {
        ending.runs_of(&pipe.id).fold(Self::default(), |marks, summary| Self {
            bends: marks.bends || summary.figures.course.bends,
            levels: marks.levels || summary.figures.course.levels,
        })
    }
}

/// Steeper than pipes are laid: one of the inverts is probably wrong.
const STEEPEST: f64 = 0.4;

impl PipeView<'_> {
    /// The fall between its inverts in metres, without its sign; 0 if it is unknown, or steeper
    /// over `length` metres than pipes are laid.
    pub(crate) fn plausible_fall(&self, length: f64) -> f64 {
        let unit = self.survey.head.units.length.metres();
        let fall = self.inverts().map_or(0.0, |(upper, lower)| (upper - lower).abs() * unit);
        if fall <= length * STEEPEST { fall } else { 0.0 }
    }
}
