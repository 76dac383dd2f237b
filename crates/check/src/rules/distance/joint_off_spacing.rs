//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// One joint of a run is off the spacing of the others: the distances to the joints before and
    /// after it are not whole pipe lengths, but their sum is.
    ///
    /// # Exceptions
    /// - The joints of the run are irregular altogether (`joint-spacing-irregular`).
    /// - The pipe has no `joint_spacing`, or one below 0.5 m.
    /// - The run is disordered, or lengths are in a doubtful unit.
    ///
    /// # Exactly
    /// Distances are taken from each row with `joint` to the next such row that is farther, in
    /// lengths of `joint_spacing`; those from 0.25 to 8 count. A distance *d* is off by \|*d* −
    /// *n*\|, *n* being the nearest whole number. A joint is reported if all of these hold:
    ///
    /// - The distances before and after it count and are off by more than `off`, and their sum by
    ///   `regular` at most.
    /// - Of the other distances at least `least` count, and at least four in five of them are off
    ///   by `regular` at most.
    ///
    /// # Why it matters
    /// The distance of the row is mistyped, or it is not at a joint: the repair is placed beside
    /// it.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/observations/6`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/6", "value": {"id": "6a", "at": 126, "code": "joint.open", "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/7", "value": {"id": "6b", "at": 132.1, "code": "joint.open", "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/8", "value": {"id": "6c", "at": 136, "code": "joint.open", "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/9", "value": {"id": "6d", "at": 148, "code": "joint.open", "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/10", "value": {"id": "6e", "at": 156.1, "code": "joint.open", "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/11", "value": {"id": "6f", "at": 164, "code": "joint.open", "joint": true}}]
    /// ```
    ///
    /// # Passes
    /// A shorter pipe was built in: all joints behind it are off.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/6", "value": {"id": "6a", "at": 126, "code": "joint.open", "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/7", "value": {"id": "6b", "at": 134, "code": "joint.open", "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/8", "value": {"id": "6c", "at": 138, "code": "joint.open", "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/9", "value": {"id": "6d", "at": 150, "code": "joint.open", "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/10", "value": {"id": "6e", "at": 158, "code": "joint.open", "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/11", "value": {"id": "6f", "at": 166, "code": "joint.open", "joint": true}}]
    /// ```
    ///
    /// # Fix
    /// Look up the joint in the video, and correct the distance of the row or remove `joint`.
    name: "joint-off-spacing", severity: Warning, scope: Run, since: "0.1", clause: "observations#joint",
    concludes_from: ["pipe.joint_spacing"],
    limits: {
        "off" = 0.25 "of a length"
            "what a joint may be off its spacing; common practice, no published source",
        "regular" = 0.12 "of a length"
            "what regular joints are off; common practice, no published source",
        "least" = 4.0 "distances"
            "fewest other distances between joints; common practice, no published source",
    },
    facts: {
        "before" = Length "distance from the joint before",
        "after" = Length "distance to the joint after",
    },
}

/// Over more lengths the error of the counter is too large a part of one length.
const LENGTHS: f64 = 8.0;

/// In metres. The error of reading a distance is as large as a shorter spacing.
const SHORTEST: f64 = 0.5;

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(spacing) = run.pipe.and_then(|view| view.pipe.joint_spacing) else { return };
    if run.survey.metres(spacing) < SHORTEST || run.disordered() || run.survey.lengths_doubtful() {
        return;
    }
    let (spacing, unit) = (spacing.get(), spacing);
    let mut joints: Vec<RowView<'_>> =
        run.rows().filter(|row| row.row.joint == Some(true)).collect();
    joints.dedup_by(|later, earlier| later.row.at <= earlier.row.at);
    let lengths =
        |from: usize, to: usize| (joints[to].row.at.get() - joints[from].row.at.get()) / spacing;
    let counts = |lengths: f64| (0.25..=LENGTHS).contains(&lengths);
    let off = |lengths: f64| (lengths - lengths.round()).abs();
    let (most, regular) = (out.limit("off"), out.limit("regular"));
    for joint in 1..joints.len().saturating_sub(1) {
        let (before, after) = (lengths(joint - 1, joint), lengths(joint, joint + 1));
        let odd = counts(before)
            && counts(after)
            && off(before) > most
            && off(after) > most
            && off(before + after) <= regular;
        if !odd {
            continue;
        }
        let others = (0..joints.len() - 1).filter(|from| *from + 1 != joint && *from != joint);
        let others: Vec<f64> =
            others.map(|from| lengths(from, from + 1)).filter(|some| counts(*some)).collect();
        let even = others.iter().filter(|some| off(**some) <= regular).count();
        let enough = u32::try_from(others.len()).is_ok_and(|n| f64::from(n) >= out.limit("least"));
        if !enough || even * 5 < others.len() * 4 {
            continue;
        }
        let (length, row) = (run.survey.format_length(unit), joints[joint]);
        let message = format!(
            "the joint is not on the spacing of {length}, on which the joints before and after it are"
        );
        out.report(row.subject(""), message)
            .fact("before", before * spacing)
            .fact("after", after * spacing);
    }
}
