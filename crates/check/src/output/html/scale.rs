//! Converts distances of runs to distances along the pipe and to positions on its drawing.

use crate::report::{AffectedPipe, AffectedRun};

/// The left and right edge of the drawn pipe, in units of the drawing.
pub(super) const LEFT: f64 = 24.0;
pub(super) const RIGHT: f64 = 896.0;

/// How a pipe is placed on a drawing: upstream on the left.
pub(super) struct Scale {
    /// The pipe's length, or that of its longest run if none is recorded.
    pub(super) length: f64,
    /// Whether the length is the pipe's own.
    pub(super) stated: bool,
    low: f64,
    high: f64,
}

impl Scale {
    /// The scale that shows a pipe, its runs and their marks. A distance far outside, such as one
    /// with a misplaced decimal point, does not shrink the pipe but is marked at the edge.
    pub(super) fn new(
        pipe: &AffectedPipe,
        marks: impl Iterator<Item = (usize, f64)> + Clone,
    ) -> Option<Self> {
        let finite = |length: &f64| length.is_finite() && *length > 0.0;
        let stated = pipe.length.filter(finite);
        let reached = pipe.runs.iter().filter_map(|run| Some(travelled(run, run.surveyed?)));
        let marked = marks.clone().filter_map(|(run, at)| Some(travelled(pipe.runs.get(run)?, at)));
        let length = stated
            .or_else(|| reached.clone().filter(finite).max_by(f64::total_cmp))
            .or_else(|| marked.filter(finite).max_by(f64::total_cmp))?;
        let mut scale = Self { length, stated: stated.is_some(), low: 0.0, high: length };
        let ends = pipe.runs.iter().enumerate().flat_map(|(index, run)| {
            [
                Some((index, run.reads.unwrap_or(0.0))),
                run.surveyed.map(|surveyed| (index, surveyed)),
            ]
        });
        let places: Vec<f64> = ends
            .flatten()
            .chain(marks)
            .filter_map(|(run, at)| Some(scale.along(pipe.runs.get(run)?, at)))
            .filter(|place| (-0.1 * length..=1.25 * length).contains(place))
            .collect();
        for place in places {
            scale.low = scale.low.min(place);
            scale.high = scale.high.max(place);
        }
        Some(scale)
    }

    /// The distance of a reading of a run's counter from the pipe's upper end.
    pub(super) fn along(&self, run: &AffectedRun, at: f64) -> f64 {
        let travelled = travelled(run, at);
        if run.upstream { self.length - travelled } else { travelled }
    }

    /// The position of a distance on the drawing.
    pub(super) fn x(&self, along: f64) -> f64 {
        let part = (along - self.low) / (self.high - self.low);
        LEFT + part.clamp(0.0, 1.0) * (RIGHT - LEFT)
    }

    /// Whether a distance is beyond the edges of the drawing.
    pub(super) fn beyond(&self, along: f64) -> bool {
        along < self.low || along > self.high
    }

    /// Round distances along the pipe, for an axis.
    pub(super) fn ticks(&self) -> Vec<f64> {
        let rough = self.length / 8.0;
        let power = 10_f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0]
            .map(|times| times * power)
            .into_iter()
            .find(|step| *step >= rough);
        let step = step.unwrap_or(rough);
        let mut ticks = Vec::new();
        let mut number = 0.0;
        while number * step <= self.length {
            ticks.push(number * step);
            number += 1.0;
        }
        ticks
    }
}

/// How far the camera was from the centre of its start structure, or else from its counter's zero
/// point.
fn travelled(run: &AffectedRun, at: f64) -> f64 {
    run.offset.unwrap_or(0.0) + at - run.reads.unwrap_or(0.0)
}
