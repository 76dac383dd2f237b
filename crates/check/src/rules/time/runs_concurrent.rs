//! See the rule's documentation below.

use obvert_model::text::PipeId;
use rustc_hash::FxHashSet;

use crate::sink::Sink;
use crate::support::cameras::cameras;
use crate::support::time::camera_span;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// Two runs with the same camera overlap in time.
    ///
    /// # Exceptions
    /// - One was `launched` from the pipe of the other, or from a lateral of it: a satellite camera goes out into a lateral
    ///   while the run in the main is paused.
    /// - A run was finished before it was started (`time-order`).
    ///
    /// # Exactly
    /// *Concurrent* in Checking. The runs of a camera are sorted by beginning, end and row, and
    /// each is compared with the next. Two runs have one finding, at `started` of the later, with
    /// the first camera in the table.
    ///
    /// # Why it matters
    /// A time or the camera was copied from another row, or a run is recorded twice.
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
    /// Launched from the pipe of the other.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/started", "value": "2026-05-06T09:40:00-05:00"},
    ///  {"op": "replace", "path": "/runs/1/finished", "value": "2026-05-06T09:43:00-05:00"},
    ///  {"op": "add", "path": "/runs/1/launched", "value": {"pipe": "L-101", "at": 40, "clock": 2}}]
    /// ```
    ///
    /// # Fix
    /// Correct the times or the equipment, or remove the duplicate run.
    name: "runs-concurrent", severity: Warning, scope: Ending, since: "0.1", clause: "runs#time",
    facts: {
        "other" = Id "the earlier run",
        "equipment" = Id "the camera that both name",
    },
}

/// Through how many laterals a launched camera is followed back to its main.
const FOLLOWED: usize = 5;

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let mut used: Vec<_> = ending
        .runs
        .iter()
        .filter_map(|summary| Some((summary, camera_span(&summary.run)?)))
        .flat_map(|(summary, span)| {
            cameras(ending.survey, &summary.run).map(move |camera| (camera, span, summary.index))
        })
        .collect();
    used.sort_unstable();
    // A run may name its camera twice.
    used.dedup();
    let from_the_other = |a: usize, b: usize| {
        let (a, b) = (&ending.runs[a].run, &ending.runs[b].run);
        // From a lateral the camera may go on into another lateral.
        let main = |id: &PipeId| Some(&ending.survey.pipe(id)?.joins.as_ref()?.pipe);
        let first = a.launched.as_ref().map(|launched| &launched.pipe);
        std::iter::successors(first, |id| main(id)).take(FOLLOWED).any(|id| *id == b.pipe)
    };
    // Two runs may share more than one piece of equipment.
    let mut reported = FxHashSet::default();
    for pair in used.windows(2) {
        let ((camera, (_, finished), first), (next, (started, _), second)) = (pair[0], pair[1]);
        if camera != next
            || started >= finished
            || from_the_other(first, second)
            || from_the_other(second, first)
            || !reported.insert((first, second))
        {
            continue;
        }
        report(ending, camera, [first, second], out);
    }
}

/// Reports two runs of a camera, by their rows.
fn report(ending: &Ending<'_>, camera: usize, [first, second]: [usize; 2], out: &mut Sink<'_>) {
    let (other, run) = (&ending.runs[first].run, &ending.runs[second]);
    let equipment = ending.survey.head.equipment[camera].id.as_str();
    let id = other.id.as_str();
    let message =
        format!("the run was started with {equipment:?} while run {id:?} was still using it");
    out.report(run.subject("/started"), message).fact("other", id).fact("equipment", equipment);
}
