//! See the rule's documentation below.

use obvert_model::tables::OutcomeKind;
use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::support::cameras::same_camera;
use crate::support::time::overlap_in_time;
use crate::views::{Ending, RunSummary};

rule! {
    /// # What it checks
    /// Two runs of a pipe in the same direction both reached the far structure on the same day.
    ///
    /// # Exceptions
    /// - They state different purposes.
    /// - They are of one camera at the same time (`runs-concurrent`).
    ///
    /// # Exactly
    /// Compared with the first such run. Purposes are those of the runs; at the same time is
    /// *concurrent* in Checking.
    ///
    /// # Why it matters
    /// A run that was repeated, because of a dirty lens or after jetting, replaces the first; with
    /// both, every defect counts twice.
    ///
    /// # Fails
    /// At `/runs/3`:
    /// ```json
    /// [{"op": "copy", "from": "/runs/0", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"},
    ///  {"op": "replace", "path": "/runs/3/started", "value": "2026-05-06T13:05:00-05:00"},
    ///  {"op": "replace", "path": "/runs/3/finished", "value": "2026-05-06T13:20:00-05:00"}]
    /// ```
    ///
    /// # Passes
    /// Before and after the work.
    /// ```json
    /// [{"op": "copy", "from": "/runs/0", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"},
    ///  {"op": "replace", "path": "/runs/3/started", "value": "2026-05-06T13:05:00-05:00"},
    ///  {"op": "replace", "path": "/runs/3/finished", "value": "2026-05-06T13:20:00-05:00"},
    ///  {"op": "add", "path": "/runs/0/purpose", "value": "before-rehabilitation"},
    ///  {"op": "add", "path": "/runs/3/purpose", "value": "after-rehabilitation"}]
    /// ```
    ///
    /// # Fix
    /// Keep the run that counts, or name it in the rating.
    name: "run-duplicate", severity: Note, scope: Ending, since: "0.1", clause: "runs#identity",
    concludes_from: ["equipment"],
    facts: { "other" = Id "the first run" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let mut seen: FxHashMap<(&str, &str, &str), &RunSummary> = FxHashMap::default();
    for summary in
        ending.runs.iter().filter(|summary| summary.outcome() == Some(OutcomeKind::Reached))
    {
        let run = &summary.run;
        let Some(day) = run.started.as_ref().and_then(|started| started.as_str().get(..10)) else {
            continue;
        };
        let key = (run.pipe.as_str(), run.direction.as_str(), day);
        let Some(first) = seen.get(&key) else {
            seen.insert(key, summary);
            continue;
        };
        let other = &first.run;
        let purposes =
            run.purpose.is_some() && other.purpose.is_some() && run.purpose != other.purpose;
        if !(purposes || overlap_in_time(run, other) && same_camera(ending.survey, run, other)) {
            let (id, way) = (other.id.as_str(), run.direction);
            let message = format!("run {id:?} already went {way} to the end of the pipe on {day}");
            out.report(summary.subject(""), message).fact("other", id);
        }
    }
}
