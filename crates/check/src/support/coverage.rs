//! The part of a pipe that no run has surveyed.

use obvert_model::number::Length;
use obvert_model::tables::{CounterZero, Direction, OutcomeKind};

use crate::support::run_extent::{
    beyond_pipe, direction_contradicts, far_position, pipe_with_length,
};
use crate::views::{Ending, PipeView, RunSummary, tolerance};

/// A part of a pipe that no run has surveyed, in metres from the centre of its upstream structure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct UnsurveyedPart {
    pub(crate) from: f64,
    pub(crate) to: f64,
    /// Whether a run recorded that it reached the far structure, or met the run from the other end.
    pub(crate) claimed: bool,
}

/// The longest part of a pipe that no run has surveyed, if it is longer than the tolerance and
/// `allowance` for the structures. `None` also if it cannot be computed, or if another rule
/// compares the runs: runs that refer to each other, a run that is longer than the pipe, a
/// direction that contradicts the structures.
pub(crate) fn longest_unsurveyed(
    ending: &Ending<'_>,
    view: &PipeView<'_>,
    allowance: f64,
) -> Option<UnsurveyedPart> {
    let survey = ending.survey;
    let mut surveyed: Vec<(f64, f64)> = Vec::new();
    let (mut claimed, mut length) = (false, None);
    for summary in ending.runs_of(&view.pipe.id) {
        let run = &summary.run;
        let (_, metres) = pipe_with_length(survey, run)?;
        length = Some(metres);
        let far = far_position(survey, run, summary.marks)?;
        let reported_elsewhere = run.reverse_of.is_some()
            || run.launched.is_some()
            || direction_contradicts(view.pipe, run);
        if reported_elsewhere || beyond_pipe(survey, run, summary.marks, allowance).is_some() {
            return None;
        }
        let outcome = summary.outcome()?;
        claimed |= outcome != OutcomeKind::Stopped;
        // A run that reached the far structure surveyed the whole pipe, whatever its counter showed.
        let end = if outcome == OutcomeKind::Reached { metres } else { far };
        let start = offset(ending, summary);
        surveyed.push(match run.direction {
            Direction::Downstream => (start, end),
            Direction::Upstream => (metres - end, metres - start),
        });
    }
    let length = length?;
    let (from, to) = longest_gap(surveyed, length)?;
    (to - from > tolerance(length) + allowance).then_some(UnsurveyedPart { from, to, claimed })
}

/// How far the wall of a chamber may be from its centre, in metres; common practice, no published
/// source.
const LARGEST_CHAMBER: f64 = 20.0;

fn offset(ending: &Ending<'_>, summary: &RunSummary) -> f64 {
    let counter = summary.run.counter.as_ref();
    let offset = counter.and_then(|counter| counter.offset).map_or(0.0, Length::get);
    let metres = offset * ending.survey.head.units.length.metres();
    // From the centre of a chamber to its wall there is no pipe to see.
    let at_wall = counter.is_some_and(|counter| {
        matches!(counter.zero, CounterZero::StructureWall | CounterZero::PipeEnd)
    });
    if at_wall && metres <= LARGEST_CHAMBER { 0.0 } else { metres }
}

/// The longest part of 0 to `length` that no interval covers.
fn longest_gap(mut seen: Vec<(f64, f64)>, length: f64) -> Option<(f64, f64)> {
    seen.sort_by(|a, b| a.0.total_cmp(&b.0));
    seen.push((length, length));
    let (mut reached, mut gap) = (0.0_f64, None::<(f64, f64)>);
    for (from, to) in seen {
        if from > reached && gap.is_none_or(|(a, b)| from - reached > b - a) {
            gap = Some((reached, from));
        }
        reached = reached.max(to);
    }
    gap
}

#[cfg(test)]
mod tests {
    use super::longest_gap;

    #[test]
    fn gaps_are_what_no_run_covers() {
        type Span = (f64, f64);
        let cases: [(&[Span], Option<Span>); 5] = [
            (&[(0.0, 100.0)], None),
            (&[(0.0, 60.0), (50.0, 100.0)], None),
            (&[(0.0, 60.0)], Some((60.0, 100.0))),
            (&[(70.0, 100.0), (0.0, 60.0)], Some((60.0, 70.0))),
            (&[(30.0, 100.0), (80.0, 90.0)], Some((0.0, 30.0))),
        ];
        for (seen, gap) in cases {
            assert_eq!(longest_gap(seen.to_vec(), 100.0), gap, "{seen:?}");
        }
    }
}
