//! How far a run came along its pipe. Several rules hold that against the pipe's length, so what is compared, and when
//! not at all, is said once.
//!
//! A run's far position is measured from the centre of the structure that it started at: the offset of the counter's
//! zero point, and what was travelled from there (`surveyed` − `reads`).

use obvert_model::number::Length;
use obvert_model::tables::{CounterZero, Direction, LengthBetween, LengthUnit, OutcomeKind, Pipe, Run};

use crate::views::{Ending, Marks, Survey, tolerance};

/// How many feet a metre has. A foot taken for a metre makes a length this many times too long.
const FEET_PER_METRE: f64 = 1.0 / 0.3048;

/// How near a ratio must come to [`FEET_IN_A_METRE`] to be taken for it.
const FOOT_RATIO_TOLERANCE: f64 = 0.1;

/// Whether `surveyed` and the row that closes the run say different distances.
pub(crate) fn surveyed_contradicts_finish(survey: &Survey<'_>, run: &Run, marks: Marks) -> bool {
    let reads = run.counter.as_ref().and_then(|counter| counter.reads);
    // A run that ends before its zero point is wrong in itself.
    let surveyed = run.surveyed.filter(|surveyed| surveyed.get() >= reads.map_or(0.0, Length::get));
    match (surveyed, marks.finish.filter(|_| !marks.counter_reset)) {
        (Some(surveyed), Some(finish)) => {
            let (surveyed, finish) = (survey.metres(surveyed), survey.metres(finish));
            exceeds((finish - surveyed).abs(), tolerance(surveyed))
        }
        _ => false,
    }
}

/// How far the run came from the centre of its start structure, in metres. `None` where it is not known: no `surveyed`,
/// one that the rows contradict, a counter that was set to zero again on the way, or a camera that went into a lateral from a main with the counter set elsewhere.
pub(crate) fn far_position(survey: &Survey<'_>, run: &Run, marks: Marks) -> Option<f64> {
    let counter = run.counter.as_ref();
    let zero = counter.map(|counter| counter.zero);
    if run.launched.is_some() && !matches!(zero, Some(CounterZero::PipeEnd | CounterZero::AccessFitting)) {
        return None;
    }
    if marks.counter_reset || surveyed_contradicts_finish(survey, run, marks) {
        return None;
    }
    let of = |length: Option<Length>| length.map_or(0.0, Length::get);
    let (offset, reads) = counter.map_or((0.0, 0.0), |counter| (of(counter.offset), of(counter.reads)));
    let travelled = run.surveyed?.get() - reads;
    (travelled >= 0.0).then(|| (offset + travelled) * survey.head.units.length.metres())
}

/// The run's pipe with its length in metres, where the owner states a sensible one.
pub(crate) fn pipe_with_length<'d>(survey: &'d Survey<'_>, run: &Run) -> Option<(&'d Pipe, f64)> {
    let pipe = survey.pipe(&run.pipe)?;
    let metres = survey.metres(pipe.length?);
    (metres > 0.0).then_some((pipe, metres))
}

/// A run and its pipe, in metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct RunExtent {
    /// How far the run came.
    pub(crate) far: f64,
    /// How long the pipe is.
    pub(crate) length: f64,
}

impl RunExtent {
    /// How many times as long as the pipe the run is, where that is what feet taken for metres make of it.
    pub(crate) fn unit_ratio(self) -> Option<f64> {
        let ratio = self.far / self.length;
        (is_foot_ratio(ratio) || is_foot_ratio(1.0 / ratio)).then_some(ratio)
    }
}

fn is_foot_ratio(ratio: f64) -> bool {
    (ratio / FEET_PER_METRE - 1.0).abs() <= FOOT_RATIO_TOLERANCE
}

/// The run, where it is longer than its pipe can be: by more than the tolerance of the counter, the same again for the
/// owner's record, and `allowance` metres for the two structures where the pipe was not measured between their centres.
pub(crate) fn beyond_pipe(survey: &Survey<'_>, run: &Run, marks: Marks, allowance: f64) -> Option<RunExtent> {
    let (pipe, length) = pipe_with_length(survey, run)?;
    let far = far_position(survey, run, marks)?;
    let structures = if pipe.length_between == Some(LengthBetween::Centres) { 0.0 } else { allowance };
    // A counter that was not set to zero shows too much all along the run; that is another rule's finding.
    let reads = run.counter.as_ref().and_then(|counter| counter.reads).map_or(0.0, Length::get);
    let surplus = marks.start.map_or(0.0, |start| (start.get() - reads).max(0.0)) * survey.head.units.length.metres();
    exceeds(far - surplus, length + 2.0 * tolerance(length) + structures).then_some(RunExtent { far, length })
}

/// Whether the run is shorter than its pipe by more than the tolerance of the counter and `allowance` metres for the two
/// structures.
pub(crate) fn short_of_pipe(survey: &Survey<'_>, run: &Run, marks: Marks, allowance: f64) -> bool {
    let extent = pipe_with_length(survey, run).zip(far_position(survey, run, marks));
    extent.is_some_and(|((_, length), far)| exceeds(length, far + tolerance(length) + allowance))
}

/// The runs of a survey, where most that reached the far structure are 3.28 times as long as their pipes, or as short.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct UnitMixup {
    /// How many runs are.
    pub(crate) runs: usize,
    /// Of how many that could be compared.
    pub(crate) of: usize,
    /// Whether the runs are too long; otherwise they are too short.
    pub(crate) long: bool,
}

/// Decides once, over all runs that reached the far structure, whether runs and pipes are in different units: at least
/// three of them, and four in five, must be.
pub(crate) fn unit_mixup(ending: &Ending<'_>) -> Option<UnitMixup> {
    let (mut of, mut long, mut short) = (0, 0, 0);
    for summary in ending.runs.iter().filter(|summary| summary.outcome() == Some(OutcomeKind::Reached)) {
        let Some((_, length)) = pipe_with_length(ending.survey, &summary.run) else { continue };
        let Some(far) = far_position(ending.survey, &summary.run, summary.marks).filter(|far| *far > 0.0) else {
            continue;
        };
        of += 1;
        long += usize::from(is_foot_ratio(far / length));
        short += usize::from(is_foot_ratio(length / far));
    }
    let runs = long.max(short);
    (runs >= 3 && runs * 5 >= of * 4).then_some(UnitMixup { runs, of, long: long >= short })
}

/// Says which numbers are in which unit, where the runs are 3.28 times too long or too short for the declared unit.
pub(crate) fn unit_advice(declared: LengthUnit, long: bool) -> &'static str {
    match (declared, long) {
        (LengthUnit::Metre, true) => "the runs seem to be in feet while the document declares metres",
        (LengthUnit::Metre, false) => "the lengths of the pipes seem to be in feet while the document declares metres",
        (_, true) => "the lengths of the pipes seem to be in metres while the document declares feet",
        (_, false) => "the runs seem to be in metres while the document declares feet",
    }
}

/// Whether the run's direction contradicts the structures that it names, going by the ends of its pipe.
pub(crate) fn direction_contradicts(pipe: &Pipe, run: &Run) -> bool {
    let (upper, lower) = (Some(&pipe.upstream), pipe.downstream.as_ref());
    if lower == upper {
        return false;
    }
    let is = |named: &Option<_>, end: Option<_>| end.is_some() && named.as_ref() == end;
    match run.direction {
        Direction::Downstream => is(&run.from, lower) || is(&run.to, upper),
        Direction::Upstream => is(&run.from, upper) || is(&run.to, lower),
    }
}

/// Whether a value is above its limit by more than what a double's last digit may be astray after a conversion.
pub(crate) fn exceeds(value: f64, limit: f64) -> bool {
    value > limit + limit.abs() * 1e-9
}
