//! See the rule's documentation below.

use rustc_hash::FxHashSet;

use crate::sink::Sink;
use crate::support::cameras::cameras;
use crate::support::time::run_span;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A camera was in one run at a time. Each run is held against the next one of its camera; a run that was finished
    /// before it was started is left to `time-order`.
    ///
    /// # Why it matters
    /// One of the two was not made then, or not with that camera: a time was copied from the row before, or one run is in
    /// the record twice.
    ///
    /// # Fails
    /// At `/runs/1/started`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/started", "value": "2026-05-06T09:40:00-05:00"}]
    /// ```
    ///
    /// # Passes
    /// One begins when the other ends.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/started", "value": "2026-05-06T09:44:00-05:00"}]
    /// ```
    /// Another camera.
    /// ```json
    /// [{"op": "add", "path": "/equipment/-", "value": {"id": "E-3", "kind": "push-rod"}},
    ///  {"op": "replace", "path": "/runs/1/equipment", "value": ["E-3"]},
    ///  {"op": "replace", "path": "/runs/1/started", "value": "2026-05-06T09:40:00-05:00"}]
    /// ```
    ///
    /// # Fix
    /// Correct the times or the equipment, or take the run out that is in the record twice.
    name: "runs-concurrent", severity: Warning, scope: Ending, since: "0.1", clause: "runs#time",
    facts: {
        "other" = Id "the run that was still going on",
        "equipment" = Id "the camera that both name",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let mut used: Vec<_> = ending
        .runs
        .iter()
        .filter_map(|summary| Some((summary, run_span(&summary.run)?)))
        .flat_map(|(summary, span)| {
            cameras(ending.survey, &summary.run).map(move |camera| (camera, span, summary.index))
        })
        .collect();
    used.sort_unstable();
    // A run that names its camera twice was made once.
    used.dedup();
    // Two runs may share more than one piece of equipment.
    let mut told = FxHashSet::default();
    for pair in used.windows(2) {
        let ((camera, (_, finished), first), (next, (started, _), second)) = (pair[0], pair[1]);
        if camera != next || started >= finished || !told.insert((first, second)) {
            continue;
        }
        let (other, run) = (&ending.runs[first].run, &ending.runs[second]);
        let equipment = ending.survey.head.equipment[camera].id.as_str();
        let id = other.id.as_str();
        let message = format!("the run began with {equipment:?} while {id:?} was still going on with it");
        out.report(run.subject("/started"), message).fact("other", id).fact("equipment", equipment);
    }
}
