//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A run was stopped for something that can be seen, but no row near its end records it.
    ///
    /// # Exceptions
    /// - The run came less than 3 m from its zero point: it was given up at once.
    /// - Another run through the pipe was stopped for the same reason, and a row records it: both
    ///   ended at one place.
    /// - A row of the role `remark` with a remark, or one whose code is unknown, near the end.
    /// - The closing row gives another reason (`outcome-contradicts-rows`).
    /// - The code list can record none of the terms below.
    /// - The run is disordered, its counter seems to have been set to zero again, or lengths are in
    ///   a doubtful unit.
    ///
    /// # Exactly
    /// The reason is `outcome.reason`, or else the one of the closing row. A row is *near* the end
    /// if it, or its stretch, comes within 5 m of `surveyed`. It records the reason if its term is
    /// one of these or begins with one of them and a full stop. The term is its code in
    /// `obvert-terms`, by the links of the code list.
    ///
    /// - `roots`: roots
    /// - `collapse`: collapse, break, hole, deformation, soil, void, brick, blockage, fracture
    /// - `displaced-joint`: joint
    /// - `bend`: bend, fitting.drop
    /// - `high-water`: water, but not water.dry; note.camera-submerged
    /// - `obstruction`: obstacle, blockage, deposit, roots, collapse, break, deformation, soil,
    ///   brick, joint, connection, lining, repair, fitting, vermin, change
    ///
    /// # Why it matters
    /// What stopped the camera is the worst defect of the pipe, and without a row it has no grade:
    /// the pipe looks better than it is.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/1/outcome/reason`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/1/at", "value": 20}]
    /// ```
    /// At `/runs/1/outcome/reason`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/outcome/reason", "value": "roots"}, {"op": "replace", "path": "/runs/1/observations/2/characterisation/0", "value": "roots"}]
    /// ```
    ///
    /// # Passes
    /// A little before the end.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/1/at", "value": 85}]
    /// ```
    /// Given up at once.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/surveyed", "value": 2}, {"op": "remove", "path": "/runs/1/observations/1"}, {"op": "replace", "path": "/runs/1/observations/1/at", "value": 2}]
    /// ```
    /// The equipment failed.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/outcome/reason", "value": "equipment-failure"}, {"op": "replace", "path": "/runs/1/observations/2/characterisation/0", "value": "equipment-failure"},
    ///  {"op": "remove", "path": "/runs/1/observations/1"}]
    /// ```
    ///
    /// From the other end, by the same collapse.
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/reverse_of"}, {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "stopped", "reason": "collapse"}},
    ///  {"op": "replace", "path": "/runs/2/observations/1", "value": {"id": "2", "at": 90, "code": "run.stopped", "characterisation": ["collapse"]}}]
    /// ```
    ///
    /// # Fix
    /// Record what stopped the camera, with its amount and a photo, or correct the reason.
    name: "stop-reason-without-row", severity: Warning, scope: Ending, since: "0.1", clause: "runs#outcome",
    needs: [Codes],
    concludes_from: ["pipe.runs", "observations", "observations.*"],
    facts: { "reason" = Word "the reason" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    for summary in ending.runs {
        let Some(reason) = summary.figures.unrecorded_reason else { continue };
        let outcome = |run: &obvert_model::tables::Run| run.outcome.as_ref()?.reason;
        // The obstacle may be recorded by the run that came to it from the other end.
        let seen = ending.runs_of(&summary.run.pipe).any(|other| {
            other.index != summary.index
                && other.figures.unrecorded_reason.is_none()
                && outcome(&other.run) == Some(reason)
        });
        if seen {
            continue;
        }
        let stated = outcome(&summary.run).is_some();
        let field = if stated { "/outcome/reason" } else { "/outcome" };
        let word = reason.as_str();
        let message =
            format!("the run was stopped for {word:?}, but no row near its end records it");
        out.report(summary.subject(field), message).fact("reason", word);
    }
}
