//! What explains that a pipe is longer or shorter than its course on the map.

use obvert_model::tables::{LengthBetween, OutcomeKind};

use super::course_marks::CourseMarks;
use super::map_lengths::ENDS_SLACK;
use super::run_extent::far_position;
use crate::views::{Ending, PipeView, tolerance};

/// The longest that two chambers can be together, in metres; common practice, no published source.
const LARGEST_CHAMBERS: f64 = 20.0;

/// Whether something in the record explains that a pipe is longer or shorter than its course.
pub(crate) fn explained(
    ending: &Ending<'_>,
    view: &PipeView<'_>,
    stated: f64,
    course: f64,
) -> bool {
    let unit = ending.survey.head.units.length.metres();
    let fall = view.inverts().map_or(0.0, |(upper, lower)| (upper - lower).abs() * unit);
    let tolerance = tolerance(stated);
    // The length that a run through the whole pipe gives.
    let came = |wanted: f64, tolerance: f64| {
        ending.runs_of(&view.pipe.id).any(|summary| {
            summary.outcome() == Some(OutcomeKind::Reached)
                && far_position(ending.survey, &summary.run, summary.figures.marks)
                    .is_some_and(|far| (far - wanted).abs() <= tolerance)
        })
    };
    if stated > course {
        let sloping = stated <= course.hypot(view.plausible_fall(stated)) + tolerance;
        let upright = fall > course
            && (course.hypot(fall) - tolerance..=course + fall + tolerance).contains(&stated);
        let marks = CourseMarks::of_pipe(ending, view.pipe);
        // A path of two vertices is a straight line, drawn or not.
        let drawn = view.pipe.path.len() > 2;
        return sloping
            || upright
            || marks.levels
            || !drawn && (marks.bends || came(stated, tolerance));
    }
    let between = view.pipe.length_between;
    matches!(between, Some(LengthBetween::Walls | LengthBetween::Ends))
        && course - stated <= LARGEST_CHAMBERS
        && came(course, tolerance + ENDS_SLACK / 5.0)
}
