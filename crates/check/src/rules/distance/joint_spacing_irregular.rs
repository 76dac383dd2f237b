//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{RunView, Subject};

rule! {
    /// # What it checks
    /// Rows at joints lie a whole number of pipe lengths apart, by the pipe's joint spacing. Each distance from one
    /// such row to the next, up to eight lengths, is off by some part of a length: by half at most, and by a quarter in
    /// the mean where the rows have nothing to do with the spacing. At least eight such distances are needed. One
    /// finding for the run.
    ///
    /// # Exactly
    /// The distances are those from each row with `joint` to the next such row, in lengths of `joint_spacing`. Those from
    /// 0.25 to 8 count; two rows at one place, or far apart, do not. A distance of *d* lengths is off by \|*d* − *n*\|, *n*
    /// being the nearest whole number. At least 8 count, and their mean is above the limit. Disordered runs, lengths in a
    /// doubtful unit, and a spacing below 0.5 m are not looked at.
    ///
    /// # Why it matters
    /// The spacing is another pipe's, or what is called a joint is none. Repairs of joints are counted by it.
    ///
    /// # Source
    /// The mean of a uniform distribution. How many distances are needed: common practice, no published source.
    ///
    /// # Fails
    /// At `/pipes/0/joint_spacing`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/6", "value": {"id": "6a", "at": 126.1, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/7", "value": {"id": "6b", "at": 131.8, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/8", "value": {"id": "6c", "at": 137.9, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/9", "value": {"id": "6d", "at": 147.6, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/10", "value": {"id": "6e", "at": 153.7, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/11", "value": {"id": "6f", "at": 163.6, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/12", "value": {"id": "6g", "at": 169.5, "code": "joint.open", "joint": true, "grades": {"structural": 1}}}]
    /// ```
    ///
    /// # Passes
    /// Multiples of 4 ft, within what a counter and an eye may be off.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/6", "value": {"id": "6a", "at": 124.3, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/7", "value": {"id": "6b", "at": 131.8, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/8", "value": {"id": "6c", "at": 136.1, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/9", "value": {"id": "6d", "at": 148.3, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/10", "value": {"id": "6e", "at": 155.7, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/11", "value": {"id": "6f", "at": 164, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/12", "value": {"id": "6g", "at": 172.2, "code": "joint.open", "joint": true, "grades": {"structural": 1}}}]
    /// ```
    ///
    /// # Fix
    /// Measure the distance of two joints in the video and correct the spacing, or take the joint mark from rows that
    /// are at none.
    name: "joint-spacing-irregular", severity: Warning, scope: Run, since: "0.1", clause: "observations#joint",
    limits: {
        "mean" = 0.2 "of a length" "the mean by which the distances may be off a whole number: common practice, no published source",
    },
    facts: {
        "mean" = Share "by how much of a length the distances are off a whole number, in the mean",
        "distances" = Count "distances between joints that were counted",
    },
}

/// Fewer distances prove nothing.
const FEWEST: u32 = 8;

/// Over more lengths the counter is off by too large a part of one.
const LENGTHS: f64 = 8.0;

/// Shorter pipes are no longer than what an eye is off, in metres.
const SHORTEST: f64 = 0.5;

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(view) = run.pipe else { return };
    let Some(spacing) = view.pipe.joint_spacing else { return };
    if run.disordered() || run.survey.lengths_doubtful() || run.survey.metres(spacing) < SHORTEST {
        return;
    }
    let mut last = None;
    let (mut sum, mut count) = (0.0, 0_u32);
    for row in run.run.observations.iter().filter(|row| row.joint == Some(true)) {
        let at = row.at.get();
        let lengths = last.map_or(0.0, |last: f64| (at - last) / spacing.get());
        last = Some(at);
        // Two rows at one joint say nothing of the spacing.
        if (0.25..=LENGTHS).contains(&lengths) {
            sum += (lengths - lengths.round()).abs();
            count += 1;
        }
    }
    if count < FEWEST || sum / f64::from(count) <= out.limit("mean") {
        return;
    }
    let mean = sum / f64::from(count);
    let said = (mean * 100.0).round() / 100.0;
    let (id, length) = (run.run.id.as_str(), run.survey.say(spacing));
    let message = format!(
        "the joints in run {id} lie no multiples of {length} apart: {count} distances are off by {said} of a length in the mean"
    );
    out.report(Subject { run: Some(id.to_owned()), ..view.subject("/joint_spacing") }, message)
        .fact("mean", mean)
        .fact("distances", count);
}
