//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_extent::direction_contradicts;
use crate::views::{Ending, RunSummary};

rule! {
    /// # What it checks
    /// A run completes (`reverse_of`) another run of the same pipe that was driven the other way. A direction that
    /// contradicts the run's own structures is left to `direction-contradicts`.
    ///
    /// # Why it matters
    /// The two are put together into one record of the pipe by turning distances and clock references of one of them
    /// round. With the wrong partner, every defect lands in the wrong place.
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
    /// The same way, with structures that agree, at `/runs/2/reverse_of`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/direction", "value": "downstream"},
    ///  {"op": "replace", "path": "/runs/2/from", "value": "LM-015"},
    ///  {"op": "replace", "path": "/runs/2/to", "value": "LM-016"}]
    /// ```
    ///
    /// # Passes
    /// Only the direction is wrong, which is another finding.
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/direction", "value": "downstream"}]
    /// ```
    ///
    /// # Fix
    /// Name the run of this pipe from the other structure, or correct the direction; a second run the same way completes
    /// nothing and has no `reverse_of`.
    name: "reverse-mismatch", severity: Error, scope: Ending, since: "0.1", clause: "runs#reverse-runs",
    concludes_from: ["pipe.runs", "pipes"],
    facts: { "reverse_of" = Id "the run that this one is to complete" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let turned = |summary: &RunSummary| {
        ending.survey.pipe(&summary.run.pipe).is_some_and(|pipe| direction_contradicts(pipe, &summary.run))
    };
    for summary in ending.runs {
        let Some(other) = summary.run.reverse_of.as_ref().and_then(|id| ending.run(id)) else { continue };
        let (run, id) = (&summary.run, other.run.id.as_str());
        let message = if other.run.pipe != run.pipe {
            format!("the run is to complete {id:?}, which is of the pipe {:?}", other.run.pipe.as_str())
        } else if other.index == summary.index {
            "the run is to complete itself".to_owned()
        } else if other.run.direction == run.direction && !turned(summary) && !turned(other) {
            format!("the run is to complete {id:?}, which went {} as well", run.direction)
        } else {
            continue;
        };
        out.report(summary.subject("/reverse_of"), message).fact("reverse_of", id);
    }
}
