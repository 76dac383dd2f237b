//! See the rule's documentation below.

use jiff::Timestamp;
use obvert_model::tables::{OutcomeKind, Run};

use crate::sink::Sink;
use crate::support::cameras::same_camera;
use crate::support::time::instant;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A run met the run that it completes, but was started before it.
    ///
    /// # Exactly
    /// A run with the outcome `met` was `started` at an earlier instant than the run that its
    /// `reverse_of` names, which is of the same pipe and has another outcome than `met`. It is not
    /// reported if it was finished after the other was started, with another camera: two cameras
    /// may work from both ends.
    ///
    /// # Why it matters
    /// The runs are dated or joined the wrong way round; wrong dates mean wrong weather and flow.
    ///
    /// # Fails
    /// At `/runs/2/started`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/started", "value": "2026-05-06T08:48:00-05:00"},
    ///  {"op": "replace", "path": "/runs/2/finished", "value": "2026-05-06T08:55:00-05:00"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/started", "value": "2026-05-06T10:12:00-05:00"}]
    /// ```
    ///
    /// Two cameras from both ends at once.
    /// ```json
    /// [{"op": "add", "path": "/equipment/-", "value": {"id": "E-3", "kind": "crawler"}}, {"op": "replace", "path": "/runs/2/equipment", "value": ["E-3"]},
    ///  {"op": "replace", "path": "/runs/2/started", "value": "2026-05-06T10:00:00-05:00"},
    ///  {"op": "replace", "path": "/runs/2/finished", "value": "2026-05-06T10:13:00-05:00"}]
    /// ```
    ///
    /// # Fix
    /// Correct the dates, or set `reverse_of` in the other run instead.
    name: "reverse-run-too-early", severity: Warning, scope: Ending, since: "0.1", clause: "runs#reverse-runs",
    facts: { "reverse_of" = Id "the run that this one completes" },
}

/// Whether a run was finished after an instant.
fn finished_after(run: &Run, other: Timestamp) -> bool {
    run.finished.as_ref().and_then(instant).is_some_and(|finished| finished > other)
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    for summary in ending.runs.iter().filter(|summary| summary.outcome() == Some(OutcomeKind::Met))
    {
        let Some(other) = summary.run.reverse_of.as_ref().and_then(|id| ending.run(id)) else {
            continue;
        };
        // If both met, either may have been the first.
        if other.outcome() == Some(OutcomeKind::Met) || other.run.pipe != summary.run.pipe {
            continue;
        }
        let (Some(this), Some(first)) = (summary.started(), other.started()) else { continue };
        if let (Some(begun), Some(before)) = (instant(this), instant(first))
            && begun < before
            && (!finished_after(&summary.run, before)
                || same_camera(ending.survey, &summary.run, &other.run))
        {
            let id = other.run.id.as_str();
            let message = format!(
                "started at {this}, but {id:?}, which it completes, was started at {first}"
            );
            out.report(summary.subject("/started"), message).fact("reverse_of", id).help(
                "one of the two times is wrong: compare both with the runs before and after them",
            );
        }
    }
}
