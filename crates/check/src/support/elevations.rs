//! Elevations of structures and of the ends of pipes. Several rules compare the same numbers. This
//! module decides which are wrong, so that one mistyped elevation gives one finding.

use obvert_model::number::Length;
use obvert_model::tables::Structure;

use crate::views::{PipeView, Survey};

/// How far elevations and depths of one structure may differ, in metres: half of the last digit of
/// a depth in tenths of a metre. Common practice, no published source.
pub(crate) const TOLERANCE: f64 = 0.05;

/// Whether a value exceeds a limit by more than the rounding error of subtracting elevations.
pub(crate) fn exceeds(value: f64, limit: f64) -> bool {
    value > limit + 1e-6
}

/// How far the depth and the elevations of a structure disagree, in metres, if all three are given,
/// the depth is not negative and the invert is not above the ground.
pub(crate) fn disagreement(survey: &Survey<'_>, structure: &Structure) -> Option<f64> {
    let (ground, invert) = (structure.ground?, structure.invert?);
    let between = (ground.get() - invert.get()) * survey.head.units.length.metres();
    // Another rule reports a negative depth.
    let depth = structure.depth.filter(|depth| depth.get() >= 0.0)?;
    (between >= 0.0).then_some((between - survey.metres(depth)).abs())
}

/// Whether a structure's elevations do not contradict each other.
pub(crate) fn consistent(survey: &Survey<'_>, structure: &Structure) -> bool {
    let upright =
        !structure.ground.zip(structure.invert).is_some_and(|(ground, invert)| invert > ground);
    upright && !disagreement(survey, structure).is_some_and(|metres| exceeds(metres, TOLERANCE))
}

/// One end of a pipe: its own invert there, and the structure.
#[derive(Clone, Copy, Debug)]
pub(crate) struct End<'d> {
    pub(crate) invert: Length,
    pub(crate) structure: &'d Structure,
    /// The pointer within the pipe.
    pub(crate) field: &'static str,
}

/// What is wrong with an end of a pipe at its structure, in metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum InvertMismatch {
    BelowStructure(f64),
    AboveGround(f64),
}

impl<'d> End<'d> {
    /// What is wrong with the invert; `None` also if the structure's own elevations contradict each
    /// other.
    pub(crate) fn mismatch(&self, survey: &Survey<'_>, slack: f64) -> Option<InvertMismatch> {
        let metres = |above: Length, below: Length| {
            (above.get() - below.get()) * survey.head.units.length.metres()
        };
        if !consistent(survey, self.structure) {
            return None;
        }
        let above = self
            .structure
            .ground
            .map(|ground| metres(self.invert, ground))
            .filter(|by| exceeds(*by, 0.0));
        let below = self
            .structure
            .invert
            .map(|invert| metres(invert, self.invert))
            .filter(|by| exceeds(*by, slack));
        above.map(InvertMismatch::AboveGround).or(below.map(InvertMismatch::BelowStructure))
    }
}

/// The ends of a pipe that have a recorded invert and a structure.
pub(crate) fn pipe_ends<'d>(view: &PipeView<'d>) -> impl Iterator<Item = End<'d>> {
    let own = view.pipe.inverts.as_ref();
    let upper = own.and_then(|inverts| inverts.upstream).zip(view.upstream());
    let lower = own.and_then(|inverts| inverts.downstream).zip(view.downstream());
    let end = |(pair, field): (Option<(Length, &'d Structure)>, _)| {
        pair.map(|(invert, structure)| End { invert, structure, field })
    };
    [(upper, "/inverts/upstream"), (lower, "/inverts/downstream")].into_iter().filter_map(end)
}

/// Whether an end of the pipe has a wrong invert, so that its gradient is not meaningful.
pub(crate) fn any_invert_mismatch(view: &PipeView<'_>) -> bool {
    pipe_ends(view).any(|end| end.mismatch(view.survey, TOLERANCE).is_some())
}
