//! See the rule's documentation below.

use obvert_model::tables::{DepthTo, Direction, Structure};

use crate::sink::Sink;
use crate::support::elevations::consistent;
use crate::support::locating::Transmitter;
use crate::views::{LocateView, PipeView, Survey};

rule! {
    /// # What it checks
    /// A located depth is far less than the depths at the ends of the pipe, or far greater.
    ///
    /// # Exceptions
    /// - The locate has `ground`, both inverts of the pipe are known, and the run was not launched
    ///   (`locate-off-gradient`).
    /// - The depth is negative, or lengths are in a doubtful unit.
    /// - Elevations and depth of a structure contradict each other.
    ///
    /// # Exactly
    /// - The depth at an end is that of its structure: `depth`, or else `ground` − `invert`. At the
    ///   lower end of a lateral it is that of the main, on the straight line between the depths of
    ///   its two structures.
    /// - Too shallow: the depth at the upper end is known, and `depth`, with the height of the pipe
    ///   added unless `depth_to` is `invert` (0.15 m if it is unknown), is less than `share` of the
    ///   lesser of the known depths.
    /// - Too deep: `depth` is greater than the greater of the known depths + `slack`, and, if only
    ///   the upper end is known, a tenth of the distance from it more.
    ///
    /// # Why it matters
    /// The depth was read in another unit, or from a second signal, or the mark is over another
    /// service. The excavation and its shoring are planned by it.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/locates/0/depth`:
    /// ```json
    /// [{"op": "remove", "path": "/locates/0/ground"}, {"op": "replace", "path": "/locates/0/depth", "value": 0.9}]
    /// ```
    /// At `/locates/0/depth`:
    /// ```json
    /// [{"op": "remove", "path": "/locates/0/ground"}, {"op": "replace", "path": "/locates/0/depth", "value": 19}]
    /// ```
    ///
    /// # Passes
    /// The ground rises between the structures.
    /// ```json
    /// [{"op": "remove", "path": "/locates/0/ground"}, {"op": "replace", "path": "/locates/0/depth", "value": 13}]
    /// ```
    /// ```json
    /// [{"op": "remove", "path": "/locates/0/ground"}, {"op": "replace", "path": "/locates/0/depth", "value": 5}]
    /// ```
    ///
    /// # Fix
    /// Locate again before anybody digs, as local codes and licensed practice demand; correct the
    /// depth, or the depth of the structure.
    name: "locate-depth-contradicts-structures", severity: Warning, scope: Locate, since: "0.1", clause: "locates#depth",
    concludes_from: ["structures.ground", "structures.invert", "structures.depth"],
    uses: [locating],
    limits: {
        "share" = 50.0 "%"
            "least depth, in per cent of the lesser depth at the ends; common practice, no published source",
        "slack" = 1.5 "m"
            "how far the ground may rise between the ends; common practice, no published source",
    },
    facts: {
        "depth" = Length "the located depth",
        "upper" = Length "depth at the upper end of the pipe" if "it is known",
        "lower" = Length "depth at the lower end of the pipe" if "it is known",
    },
}

/// The height of a pipe that is not recorded, in metres.
const USUAL_HEIGHT: f64 = 0.15;

/// The fall of a lateral whose lower end is unknown: 10 %, steeper than laid without drops.
const FALL: f64 = 0.1;

fn check(view: &LocateView<'_>, out: &mut Sink<'_>) {
    let survey = view.ending.survey;
    let Some(recorded) = view.locate.depth.filter(|depth| depth.get() >= 0.0) else { return };
    let Some(transmitter) = Transmitter::of(view) else { return };
    let pipe = &transmitter.pipe;
    let launched = transmitter.summary.run.launched.is_some();
    if view.locate.ground.is_some() && pipe.inverts().is_some() && !launched {
        return;
    }
    let upper = pipe.upstream().and_then(|row| depth_of(survey, row));
    let lower = lower_depth(pipe);
    let known = || upper.into_iter().chain(lower);
    let (Some(least), Some(most)) = (known().reduce(f64::min), known().reduce(f64::max)) else {
        return;
    };
    let depth = survey.metres(recorded);
    let height = pipe.pipe.height.filter(|_| !pipe.size_doubtful());
    let height = height.map_or(USUAL_HEIGHT, |height| survey.millimetres(height) / 1000.0);
    let to_invert =
        depth + if view.locate.depth_to == Some(DepthTo::Invert) { 0.0 } else { height };
    let upstream = transmitter.summary.run.direction == Direction::Upstream;
    let fall = match (lower, upstream) {
        (Some(_), _) => 0.0,
        (None, false) => transmitter.from_start.max(0.0) * FALL,
        (None, true) => transmitter.to_end().or(pipe.metres()).unwrap_or(100.0) * FALL,
    };
    let shallow = upper.is_some() && to_invert < least * out.limit("share") / 100.0;
    if !shallow && depth <= most + out.limit("slack") + fall {
        return;
    }
    let (text, ends) = (survey.format_length(recorded), if shallow { least } else { most });
    let how = if shallow { "at least" } else { "at most" };
    let message = format!(
        "located {text} deep, but the ends of the pipe are {how} {} deep",
        survey.format_metres(ends)
    );
    let finding = out.report(view.subject("/depth"), message);
    finding.fact("depth", recorded.get());
    for (name, end) in [("upper", upper), ("lower", lower)] {
        if let Some(end) = end {
            finding.fact(name, survey.in_units(end));
        }
    }
}

/// The depth of a structure in metres, if its elevations do not contradict it.
fn depth_of(survey: &Survey<'_>, row: &Structure) -> Option<f64> {
    let between = || Some(survey.metres(row.ground?) - survey.metres(row.invert?));
    let depth = row.depth.map(|depth| survey.metres(depth)).or_else(between)?;
    (depth > 0.0 && consistent(survey, row)).then_some(depth)
}

/// The depth at the lower end of a pipe in metres.
fn lower_depth(pipe: &PipeView<'_>) -> Option<f64> {
    let survey = pipe.survey;
    if let Some(row) = pipe.downstream() {
        return depth_of(survey, row);
    }
    let joins = pipe.pipe.joins.as_ref()?;
    let index = survey.pipe_index(&joins.pipe)?;
    let main = PipeView { survey, pipe: &survey.head.pipes[index], index };
    let (upper, lower) =
        (depth_of(survey, main.upstream()?)?, depth_of(survey, main.downstream()?)?);
    let length = main.metres().filter(|metres| *metres > 0.0)?;
    let share = (survey.metres(joins.at?) / length).clamp(0.0, 1.0);
    Some(upper + (lower - upper) * share)
}
