//! How far a run came along its pipe, and how that compares with the pipe's length.
//!
//! The far position of a run is measured from the centre of its start structure: the offset of the
//! counter's zero point plus the distance travelled from there (`surveyed` − `reads`).

use obvert_model::number::Length;
use obvert_model::tables::{
    CounterZero, Direction, LengthBetween, LengthUnit, OutcomeKind, Pipe, Run, Structure,
    StructureKind,
};

use crate::views::{Ending, Marks, PipeView, Survey, tolerance};

/// Feet per metre. A length in feet that is read as metres is too long by this factor.
const FEET_PER_METRE: f64 = 1.0 / 0.3048;

/// How far a ratio may be from [`FEET_PER_METRE`], as a share.
const FOOT_RATIO_TOLERANCE: f64 = 0.1;

/// Whether `surveyed` and the closing row disagree.
pub(crate) fn surveyed_contradicts_finish(survey: &Survey<'_>, run: &Run, marks: Marks) -> bool {
    let reads = run.counter.as_ref().and_then(|counter| counter.reads);
    // Another rule reports a run that ends before its zero point.
    let surveyed = run.surveyed.filter(|surveyed| surveyed.get() >= reads.map_or(0.0, Length::get));
    match (surveyed, marks.finish.filter(|_| !marks.counter_reset)) {
        (Some(surveyed), Some(finish)) => {
            let (surveyed, finish) = (survey.metres(surveyed), survey.metres(finish));
            exceeds((finish - surveyed).abs(), tolerance(surveyed))
        }
        _ => false,
    }
}

/// How far the run came from the centre of its start structure, in metres. `None` if that is
/// unknown: `surveyed` is missing, the closing row contradicts it, the counter was reset during the
/// run, or the camera was launched into a lateral and its counter was set to zero elsewhere.
pub(crate) fn far_position(survey: &Survey<'_>, run: &Run, marks: Marks) -> Option<f64> {
    let counter = run.counter.as_ref();
    let zero = counter.map(|counter| counter.zero);
    if run.launched.is_some()
        && !matches!(zero, Some(CounterZero::PipeEnd | CounterZero::AccessFitting))
    {
        return None;
    }
    if marks.counter_reset || surveyed_contradicts_finish(survey, run, marks) {
        return None;
    }
    let of = |length: Option<Length>| length.map_or(0.0, Length::get);
    let (offset, reads) =
        counter.map_or((0.0, 0.0), |counter| (of(counter.offset), of(counter.reads)));
    let travelled = run.surveyed?.get() - reads;
    (travelled >= 0.0).then(|| (offset + travelled) * survey.head.units.length.metres())
}

/// The run's pipe and its recorded length in metres, if that is positive.
pub(crate) fn pipe_with_length<'d>(survey: &'d Survey<'_>, run: &Run) -> Option<(&'d Pipe, f64)> {
    let pipe = survey.pipe(&run.pipe)?;
    let metres = survey.metres(pipe.length?);
    (metres > 0.0).then_some((pipe, metres))
}

/// The extent of a run, in metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct RunExtent {
    /// How far the run came.
    pub(crate) far: f64,
    /// How long the pipe is.
    pub(crate) length: f64,
    /// By which share of its length the run exceeds the pipe, without what the counter showed too
    /// much from the start.
    pub(crate) excess: f64,
}

impl RunExtent {
    /// The ratio of run to pipe, if it is the one between feet and metres.
    pub(crate) fn unit_ratio(self) -> Option<f64> {
        let ratio = self.far / self.length;
        (is_foot_ratio(ratio) || is_foot_ratio(1.0 / ratio)).then_some(ratio)
    }
}

fn is_foot_ratio(ratio: f64) -> bool {
    (ratio / FEET_PER_METRE - 1.0).abs() <= FOOT_RATIO_TOLERANCE
}

/// The extent of the run if it is longer than its pipe can be: by more than twice the tolerance
/// (for the counter and for the owner's record), and `allowance` metres for the two structures
/// unless the pipe was measured between their centres.
pub(crate) fn beyond_pipe(
    survey: &Survey<'_>,
    run: &Run,
    marks: Marks,
    allowance: f64,
) -> Option<RunExtent> {
    let (pipe, length) = pipe_with_length(survey, run)?;
    let far = far_position(survey, run, marks)?;
    let structures = chambers(survey, run, pipe, length, allowance);
    let sloping = slope_length(survey, &run.pipe, length);
    // A counter that was not zeroed shows too much during the whole run; another rule reports that.
    let reads = run.counter.as_ref().and_then(|counter| counter.reads).map_or(0.0, Length::get);
    let surplus = marks.start.map_or(0.0, |start| (start.get() - reads).max(0.0))
        * survey.head.units.length.metres();
    let excess = (far - surplus) / length - 1.0;
    exceeds(far - surplus, sloping + 2.0 * tolerance(length) + structures).then_some(RunExtent {
        far,
        length,
        excess,
    })
}

/// The longest that a pipe of a recorded length can be along its slope: owners' lengths are often
/// measured on plan, and a counter measures along the pipe.
pub(crate) fn slope_length(survey: &Survey<'_>, pipe: &str, length: f64) -> f64 {
    let view = survey.pipe_index(pipe).map(|index| PipeView {
        survey,
        pipe: &survey.head.pipes[index],
        index,
    });
    view.map_or(length, |view| length.hypot(view.plausible_fall(length)))
}

/// How far a tank or another special chamber may extend from its centre, in metres; common
/// practice, no published source.
const LARGE_CHAMBER: f64 = 6.0;

/// How much of a run may be in the two structures, in metres, if the recorded length of the pipe
/// does not include them.
fn chambers(survey: &Survey<'_>, run: &Run, pipe: &Pipe, length: f64, allowance: f64) -> f64 {
    if pipe.length_between == Some(LengthBetween::Centres) {
        return 0.0;
    }
    let offset = run.counter.as_ref().and_then(|counter| counter.offset);
    let offset = offset.map_or(0.0, |offset| survey.metres(offset).max(0.0));
    if pipe.length_between.is_none() {
        return allowance.max(offset);
    }
    let lower = pipe.downstream.as_ref().and_then(|id| survey.structure(id));
    let ends = [survey.structure(&pipe.upstream), lower];
    let large = ends.into_iter().flatten().filter(|structure| {
        matches!(structure.kind, StructureKind::PumpStation | StructureKind::Other)
    });
    let large: f64 = large.map(|_| LARGE_CHAMBER).sum();
    // The centres of the structures may be farther apart than the pipe is long.
    let apart = between_structures(survey, ends).map_or(0.0, |apart| apart - length);
    let apart = if apart <= 2.0 * LARGE_CHAMBER + large { apart } else { 0.0 };
    allowance.max(large).max(apart).max(offset + allowance)
}

/// The distance of two structures on the map, in metres.
fn between_structures(survey: &Survey<'_>, ends: [Option<&Structure>; 2]) -> Option<f64> {
    let [from, to] = [ends[0]?.position?, ends[1]?.position?];
    let (crs, map_lengths) = (survey.crs.as_ref()?, survey.map_lengths());
    Some(map_lengths.distance(crs, from, to)? * map_lengths.position_factor(crs))
}

/// Whether the run is shorter than its pipe by more than the tolerance and `allowance` metres for
/// the two structures.
pub(crate) fn short_of_pipe(survey: &Survey<'_>, run: &Run, marks: Marks, allowance: f64) -> bool {
    let extent = pipe_with_length(survey, run).zip(far_position(survey, run, marks));
    extent.is_some_and(|((_, length), far)| exceeds(length, far + tolerance(length) + allowance))
}

/// The runs of a survey, if most that reached the far structure are 3.28 times too long or too
/// short.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct UnitMixup {
    /// How many runs are.
    pub(crate) runs: usize,
    /// How many runs were compared.
    pub(crate) of: usize,
    /// Whether the runs are too long rather than too short.
    pub(crate) long: bool,
}

/// Whether runs and pipes are in different units: at least three runs that reached the far
/// structure, and four in five of them, are off by that factor.
pub(crate) fn unit_mixup(ending: &Ending<'_>) -> Option<UnitMixup> {
    let (mut of, mut long, mut short) = (0, 0, 0);
    for summary in
        ending.runs.iter().filter(|summary| summary.outcome() == Some(OutcomeKind::Reached))
    {
        let Some((_, length)) = pipe_with_length(ending.survey, &summary.run) else { continue };
        let Some(far) = far_position(ending.survey, &summary.run, summary.figures.marks)
            .filter(|far| *far > 0.0)
        else {
            continue;
        };
        of += 1;
        long += usize::from(is_foot_ratio(far / length));
        short += usize::from(is_foot_ratio(length / far));
    }
    let runs = long.max(short);
    (runs >= 3 && runs * 5 >= of * 4).then_some(UnitMixup { runs, of, long: long >= short })
}

/// Which numbers are in which unit, for a message.
pub(crate) fn unit_advice(declared: LengthUnit, long: bool) -> &'static str {
    match (declared, long) {
        (LengthUnit::Metre, true) => {
            "the runs seem to be in feet while the document declares metres"
        }
        (LengthUnit::Metre, false) => {
            "the lengths of the pipes seem to be in feet while the document declares metres"
        }
        (_, true) => {
            "the lengths of the pipes seem to be in metres while the document declares feet"
        }
        (_, false) => "the runs seem to be in metres while the document declares feet",
    }
}

/// Which of a run and its pipe is in the other unit, as advice, if their lengths differ by the
/// ratio of feet and metres. The map tells; without it, the number that is wrong by the declared
/// unit.
pub(crate) fn single_unit_advice(
    survey: &Survey<'_>,
    run: &Run,
    extent: RunExtent,
) -> Option<String> {
    let ratio = extent.unit_ratio()?;
    let mapped = survey
        .pipe_index(&run.pipe)
        .and_then(|index| survey.map_lengths().fitted_length(index))
        .filter(|course| *course > 0.0);
    let near = |length: f64| mapped.is_some_and(|course| (length / course - 1.0).abs() <= 0.15);
    let declared = survey.head.units.length;
    // In metres, a number in feet is too large; in feet, a number in metres is too small.
    let by_unit = (declared == LengthUnit::Metre) == (ratio > 1.0);
    let run_is_wrong =
        if near(extent.far) == near(extent.length) { by_unit } else { near(extent.length) };
    let other = if declared == LengthUnit::Metre { "feet" } else { "metres" };
    let map = if near(extent.far) != near(extent.length) { ", as the map shows" } else { "" };
    Some(match (run_is_wrong, run_is_wrong == by_unit) {
        (true, true) => {
            format!("check the units: the distances of the run seem to be in {other}{map}")
        }
        (false, true) => {
            format!("check the units: the length of the pipe seems to be in {other}{map}")
        }
        (true, false) => {
            format!("check the distances of the run: they seem to have been converted twice{map}")
        }
        (false, false) => {
            format!("check the length of the pipe: it seems to have been converted twice{map}")
        }
    })
}

/// The end of a message about a place that would be right if the run had started at the other end.
pub(crate) const TURNED: &str = "; measured from the other end it would fit, so the direction and the structures of the run may be the wrong way round";

/// Whether the run's direction contradicts the structures that it names, by the ends of its pipe.
pub(crate) fn direction_contradicts(pipe: &Pipe, run: &Run) -> bool {
    let (upper, lower) = (Some(&pipe.upstream), pipe.downstream.as_ref());
    if lower == upper {
        return false;
    }
    let (first, last) = match run.direction {
        Direction::Downstream => (lower, upper),
        Direction::Upstream => (upper, lower),
    };
    let is = |named: &Option<_>, end: Option<_>| end.is_some() && named.as_ref() == end;
    // A structure of another pipe says that the run is of that pipe, not that it went the other way.
    let may =
        |named: &Option<_>, end: Option<_>| named.is_none() || end.is_none() || is(named, end);
    is(&run.from, first) && may(&run.to, last) || is(&run.to, last) && may(&run.from, first)
}

/// Whether a value exceeds a limit by more than the rounding error of a conversion.
pub(crate) fn exceeds(value: f64, limit: f64) -> bool {
    value > limit + limit.abs() * 1e-9
}
