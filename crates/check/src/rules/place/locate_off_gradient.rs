//! See the rule's documentation below.

use obvert_model::number::Length;
use obvert_model::tables::{DepthTo, Direction};

use crate::sink::Sink;
use crate::support::course_marks::CourseMarks;
use crate::support::elevations::any_invert_mismatch;
use crate::views::{LocateView, PipeView};

rule! {
    /// # What it checks
    /// A located depth puts the pipe above or below the line between its inverts, by more than the
    /// greater of 0.6 m and 15 % of the depth.
    ///
    /// # Exceptions
    /// - The pipe rises, falls by more than 40 %, or another rule reports its inverts.
    /// - A run of the pipe records a change of gradient or a drop: the pipe is a siphon, or its
    ///   fall is in a backdrop at its end.
    /// - The run has `launched`, or its counter seems to have been set to zero again.
    /// - The transmitter is more than 1 m outside the pipe.
    /// - The depth is negative, or lengths are in a doubtful unit.
    /// - The height of the pipe is unknown, and `depth_to` is not `invert`.
    ///
    /// # Exactly
    /// - The transmitter is *offset* + `at` − *reads* − `transmitter_offset` from the run's start
    ///   structure; in a run upstream, that is counted from the downstream end of the pipe.
    /// - *expected* is the elevation there on the straight line between the inverts.
    /// - *found* is `ground` − `depth`, less half the height of the pipe if `depth_to` is `centre`,
    ///   less the height if it is `obvert`, less half the height if it is absent.
    /// - \|*found* − *expected*\| is greater than the larger of `slack` and `share` of `depth`;
    ///   without `depth_to`, half the height more is allowed.
    ///
    /// # Why it matters
    /// The pipe would be in the air, or below the sewer that it drains into. The depth and shoring
    /// of an excavation depend on that number.
    ///
    /// # Source
    /// 0.6 m: common practice, no published source. 15 %: PAS 128 (from memory).
    ///
    /// # Fails
    /// At `/locates/0`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/depth", "value": 3}]
    /// ```
    /// At `/locates/1`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/1/ground", "value": 694.3}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/depth", "value": 10.5}]
    /// ```
    /// ```json
    /// [{"op": "remove", "path": "/locates/0/ground"}, {"op": "replace", "path": "/locates/0/depth", "value": 3}]
    /// ```
    ///
    /// A siphon.
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/depth", "value": 13},
    ///  {"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 40, "code": "gradient.steeper"}}]
    /// ```
    ///
    /// # Fix
    /// Locate again before anybody digs; correct the depth, the ground elevation or the distance.
    name: "locate-off-gradient", severity: Warning, scope: Locate, since: "0.1", clause: "locates#depth",
    limits: {
        "slack" = 0.6 "m" "least tolerance; common practice, no published source",
        "share" = 15.0 "%" "tolerance in per cent of the depth: PAS 128, from memory",
    },
    facts: {
        "found" = Length "elevation of the invert by the locate",
        "expected" = Length "elevation on the line between the pipe's inverts",
    },
}

/// `gradient-steep` reports a steeper pipe: one of its inverts is wrong.
const STEEPEST: f64 = 0.4;

fn check(view: &LocateView<'_>, out: &mut Sink<'_>) {
    let (locate, ending) = (view.locate, view.ending);
    let survey = ending.survey;
    let (Some(ground), Some(depth), Some(summary)) =
        (locate.ground, locate.depth, ending.run(&locate.run))
    else {
        return;
    };
    let Some(row) = survey.pipe_index(&summary.run.pipe).filter(|_| summary.run.launched.is_none())
    else {
        return;
    };
    let pipe = PipeView { survey, pipe: &survey.head.pipes[row], index: row };
    let (Some((upper, lower)), Some(length)) =
        (pipe.inverts(), pipe.metres().filter(|metres| *metres > 0.0))
    else {
        return;
    };
    let unit = survey.head.units.length.metres();
    if depth.get() < 0.0
        || lower > upper
        || (upper - lower) * unit > length * STEEPEST
        || any_invert_mismatch(&pipe)
        || ending.lengths_doubtful()
        || summary.figures.marks.counter_reset
        || CourseMarks::of_pipe(ending, pipe.pipe).levels
    {
        return;
    }
    let counter = summary.run.counter.as_ref();
    let of = |length: Option<Length>| length.map_or(0.0, Length::get);
    let (offset, reads) =
        counter.map_or((0.0, 0.0), |counter| (of(counter.offset), of(counter.reads)));
    let far = (offset + locate.at.get() - reads - of(locate.transmitter_offset)) * unit;
    let along = if summary.run.direction == Direction::Upstream { length - far } else { far };
    // Another rule reports a locate outside its pipe.
    if !(-1.0..=length + 1.0).contains(&along) {
        return;
    }
    let height = pipe
        .pipe
        .height
        .filter(|_| !pipe.size_doubtful())
        .map(|height| survey.millimetres(height) / 1000.0);
    let (above_invert, uncertainty) = match (locate.depth_to, height) {
        (Some(DepthTo::Invert), _) => (0.0, 0.0),
        (Some(DepthTo::Centre), Some(height)) => (height / 2.0, 0.0),
        (Some(DepthTo::Obvert), Some(height)) => (height, 0.0),
        (None, Some(height)) => (height / 2.0, height / 2.0),
        (_, None) => return,
    };
    let found = (ground.get() - depth.get()) * unit - above_invert;
    let expected = (upper + (lower - upper) * along / length) * unit;
    let slack =
        out.limit("slack").max(out.limit("share") / 100.0 * survey.metres(depth)) + uncertainty;
    let off = found - expected;
    if off.abs() <= slack {
        return;
    }
    let how = if off > 0.0 { "above" } else { "below" };
    let (off, depth) = (survey.format_metres(off.abs()), survey.format_length(depth));
    let message =
        format!("a depth of {depth} puts the pipe {off} {how} the line between its inverts");
    out.report(view.subject(""), message)
        .fact("found", survey.in_units(found))
        .fact("expected", survey.in_units(expected));
}
