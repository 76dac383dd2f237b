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
    let mut surveyed: Vec<(f64, f64)> = Vec::new();
    let (mut claimed, mut length) = (false, None);
    for summary in ending.runs_of(&view.pipe.id) {
        if summary.run.reverse_of.is_some() || direction_contradicts(view.pipe, &summary.run) {
            return None;
        }
        surveyed.push(seen(ending, summary, allowance)?);
        length = pipe_with_length(ending.survey, &summary.run).map(|(_, metres)| metres);
        match summary.outcome()? {
            // Not all of the pipe was ordered.
            OutcomeKind::AsOrdered => return None,
            outcome => claimed |= outcome != OutcomeKind::Stopped,
        }
    }
    let length = length?;
    let (from, to) = longest_gap(surveyed, 0.0, length)?;
    (to - from > tolerance(length) + allowance).then_some(UnsurveyedPart { from, to, claimed })
}

/// The part of a pipe that a run saw, in metres from the centre of the upstream structure; `None`
/// if it cannot be computed.
fn seen(ending: &Ending<'_>, summary: &RunSummary, allowance: f64) -> Option<(f64, f64)> {
    let (survey, run) = (ending.survey, &summary.run);
    let (_, metres) = pipe_with_length(survey, run)?;
    let far = far_position(survey, run, summary.figures.marks)?;
    let past = beyond_pipe(survey, run, summary.figures.marks, allowance).is_some();
    if run.launched.is_some() || past {
        return None;
    }
    // A run that reached the far structure surveyed the whole pipe, whatever its counter showed.
    let end = if summary.outcome() == Some(OutcomeKind::Reached) { metres } else { far };
    let start = offset(ending, summary);
    Some(match run.direction {
        Direction::Downstream => (start, end),
        Direction::Upstream => (metres - end, metres - start),
    })
}

/// How much of the gap between two runs of a pipe no other run of it saw, in metres: the longest
/// part. `None` if that is not known of one of them, or if not all of the pipe was ordered.
pub(crate) fn unseen_between(
    ending: &Ending<'_>,
    pair: [&RunSummary; 2],
    gap: (f64, f64),
    allowance: f64,
) -> Option<f64> {
    let mut surveyed = Vec::new();
    for summary in ending.runs_of(&pair[0].run.pipe) {
        if summary.outcome() == Some(OutcomeKind::AsOrdered) {
            return None;
        }
        if pair.iter().all(|of_pair| of_pair.index != summary.index) {
            surveyed.push(seen(ending, summary, allowance)?);
        }
    }
    longest_gap(surveyed, gap.0, gap.1).map(|(from, to)| to - from)
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

/// The longest part of `start` to `end` that no interval covers.
fn longest_gap(mut seen: Vec<(f64, f64)>, start: f64, end: f64) -> Option<(f64, f64)> {
    seen.sort_by(|a, b| a.0.total_cmp(&b.0));
    seen.push((end, end));
    let (mut reached, mut gap) = (start, None::<(f64, f64)>);
    for (from, to) in seen {
        let from = from.min(end);
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
    fn a_third_run_closes_the_gap_between_two() {
        assert_eq!(longest_gap(vec![(0.0, 45.0)], 30.0, 45.0), None);
        assert_eq!(longest_gap(vec![(0.0, 40.0)], 30.0, 45.0), Some((40.0, 45.0)));
        assert_eq!(longest_gap(vec![(50.0, 60.0)], 30.0, 45.0), Some((30.0, 45.0)));
    }

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
            assert_eq!(longest_gap(seen.to_vec(), 0.0, 100.0), gap, "{seen:?}");
        }
    }
}
