//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_extent::direction_contradicts;
use crate::views::{Ending, RunSummary};

rule! {
    /// # What it checks
    /// `reverse_of` names a run of another pipe, a run in the same direction, or the run itself.
    ///
    /// # Exceptions
    /// - The directions are equal, but one contradicts the run's own structures
    ///   (`direction-contradicts`).
    ///
    /// # Exactly
    /// In this order. A direction contradicts as in `direction-contradicts`.
    ///
    /// # Why it matters
    /// Joining reverses the distances and clock references of one run: with the wrong partner every
    /// defect lands in the wrong place.
    ///
    /// # Fails
    /// At `/runs/2/reverse_of`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/reverse_of", "value": "R-101"}]
    /// ```
    /// At `/runs/2/reverse_of`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/reverse_of", "value": "R-102R"}]
    /// ```
    /// The same direction, with structures that agree, at `/runs/2/reverse_of`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/direction", "value": "downstream"},
    ///  {"op": "replace", "path": "/runs/2/from", "value": "LM-015"},
    ///  {"op": "replace", "path": "/runs/2/to", "value": "LM-016"}]
    /// ```
    ///
    /// # Passes
    /// Only the direction is wrong.
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/direction", "value": "downstream"}]
    /// ```
    ///
    /// # Fix
    /// Name the run of this pipe from the other structure, or correct the direction. Remove
    /// `reverse_of` from a second run in the same direction.
    name: "reverse-mismatch", severity: Error, scope: Ending, since: "0.1", clause: "runs#reverse-runs",
    facts: { "reverse_of" = Id "the run that `reverse_of` names" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let direction_wrong = |summary: &RunSummary| {
        ending
            .survey
            .pipe(&summary.run.pipe)
            .is_some_and(|pipe| direction_contradicts(pipe, &summary.run))
    };
    for summary in ending.runs {
        let Some(other) = summary.run.reverse_of.as_ref().and_then(|id| ending.run(id)) else {
            continue;
        };
        let (run, id) = (&summary.run, other.run.id.as_str());
        let message = if other.run.pipe != run.pipe {
            format!(
                "`reverse_of` names {id:?}, which is a run of the pipe {:?}",
                other.run.pipe.as_str()
            )
        } else if other.index == summary.index {
            "`reverse_of` names the run itself".to_owned()
        } else if other.run.direction == run.direction
            && !direction_wrong(summary)
            && !direction_wrong(other)
        {
            let one_start = run.from.is_some() && run.from == other.run.from;
            let turned = if one_start {
                " from the same structure: one of the two may have its direction and structures the wrong way round"
            } else {
                ""
            };
            format!("`reverse_of` names {id:?}, which also went {}{turned}", run.direction)
        } else {
            continue;
        };
        out.report(summary.subject("/reverse_of"), message).fact("reverse_of", id);
    }
}
