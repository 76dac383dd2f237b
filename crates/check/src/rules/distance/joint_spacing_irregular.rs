//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::terms::means;
use crate::views::{RunView, Subject};

rule! {
    /// # What it checks
    /// The joints of a run are not whole pipe lengths apart, by the pipe's `joint_spacing`. That is
    /// one finding for the run.
    ///
    /// # Exceptions
    /// - The run is disordered, or lengths are in a doubtful unit.
    /// - `joint_spacing` is below 0.5 m, or below four steps of the counter.
    /// - The run records a change of the length of its pieces, of material, size or shape, or a
    ///   piece that was replaced.
    ///
    /// # Exactly
    /// Distances are taken from each row with `joint` to the next such row, in lengths of
    /// `joint_spacing`; those from 0.25 to 8 count. A distance *d* is off by \|*d* − *n*\|, *n*
    /// being the nearest whole number. At least 8 count, and their mean is above `mean`.
    ///
    /// # Why it matters
    /// The spacing is that of another pipe, or rows marked as joints are not at joints. Joint
    /// repairs are counted by it.
    ///
    /// # Source
    /// The mean of a uniform distribution is 0.25. Number of distances: common practice, no
    /// published source.
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
    /// Multiples of 4 ft, within the error of a counter.
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
    /// The length of the pieces changes underway.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/6", "value": {"id": "6a", "at": 126.1, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/7", "value": {"id": "6b", "at": 131.8, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/8", "value": {"id": "6c", "at": 137.9, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/9", "value": {"id": "6d", "at": 147.6, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/10", "value": {"id": "6e", "at": 153.7, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/11", "value": {"id": "6f", "at": 163.6, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/12", "value": {"id": "6g", "at": 169.5, "code": "joint.open", "joint": true, "grades": {"structural": 1}}},
    ///  {"op": "add", "path": "/runs/0/observations/13", "value": {"id": "6h", "at": 180, "code": "change.unit-length", "quantities": [{"value": 6, "unit": "ft"}]}}]
    /// ```
    ///
    /// # Fix
    /// Measure the distance of two joints in the video and correct the spacing, or remove `joint`
    /// where there is none.
    name: "joint-spacing-irregular", severity: Warning, scope: Run, since: "0.1", clause: "observations#joint",
    limits: {
        "mean" = 0.2 "of a length"
            "greatest mean difference from a whole number; common practice, no published source",
    },
    facts: {
        "mean" = Share "mean difference of the distances from a whole number of lengths",
        "distances" = Count "distances between joints that were counted",
    },
}

/// With fewer distances the mean proves nothing.
const FEWEST: u32 = 8;

/// Over more lengths the error of the counter is too large a part of one length.
const LENGTHS: f64 = 8.0;

/// In metres. The error of reading a distance is as large as a shorter spacing.
const SHORTEST: f64 = 0.5;

/// Whether the pieces of the pipe are not all of one length, by the rows.
fn changes_pieces(run: &RunView<'_>) -> bool {
    let other = |code| means(code, &["change.unit-length", "repair.replaced"]);
    !run.changes.is_empty() || run.rows().filter_map(|row| row.code).any(other)
}

/// Whether a step of the counter is too large a part of one length.
fn coarse(run: &RunView<'_>, spacing: f64) -> bool {
    run.counter_step().is_some_and(|step| step.get() * 4.0 > spacing)
}

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
        // Two rows at one joint do not measure the spacing.
        if (0.25..=LENGTHS).contains(&lengths) {
            sum += (lengths - lengths.round()).abs();
            count += 1;
        }
    }
    if count < FEWEST || changes_pieces(run) || coarse(run, spacing.get()) {
        return;
    }
    if sum / f64::from(count) <= out.limit("mean") {
        return;
    }
    let mean = sum / f64::from(count);
    let rounded = (mean * 100.0).round() / 100.0;
    let (id, length) = (run.run.id.as_str(), run.survey.format_length(spacing));
    let message = format!(
        "the joints in run {id} are not multiples of {length} apart: {count} distances are off by {rounded} of a length on average"
    );
    out.report(Subject { run: Some(id.to_owned()), ..view.subject("/joint_spacing") }, message)
        .fact("mean", mean)
        .fact("distances", count);
}
